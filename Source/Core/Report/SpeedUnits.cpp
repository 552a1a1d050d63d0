#include "Core/Report/SpeedUnits.h"

#include <array>
#include <string>

namespace saddletone::report {

std::string_view speedUnitsName(SpeedUnits units) noexcept
{
    switch (units) {
    case SpeedUnits::mph: return "mph";
    case SpeedUnits::kmh: return "kmh";
    case SpeedUnits::both: break;
    }
    return "both";
}

dsp::Result<SpeedUnits> parseSpeedUnits(std::string_view name)
{
    constexpr std::array all {SpeedUnits::both, SpeedUnits::mph, SpeedUnits::kmh};
    for (const SpeedUnits units : all)
        if (speedUnitsName(units) == name)
            return units;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "speed units '" + std::string(name) + "' are not known; use mph, kmh or both");
}

} // namespace saddletone::report
