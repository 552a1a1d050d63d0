#include "Core/Ride/Drivetrain.h"

#include <algorithm>
#include <cassert>
#include <numbers>
#include <string>

namespace saddletone::ride {

double Drivetrain::rpmAt(double speedKmh, std::size_t gear) const noexcept
{
    assert(numGears >= 1 && numGears <= maxGears);
    const double ratio =
        primaryRatio * finalRatio * gearRatios[std::clamp(gear, std::size_t {1}, numGears) - 1];
    const double wheelTurnsPerSecond = speedKmh / 3.6 / (2.0 * std::numbers::pi * tyreRadiusMetres);
    return wheelTurnsPerSecond * 60.0 * ratio;
}

std::size_t Drivetrain::cruiseGear(double speedKmh) const noexcept
{
    for (std::size_t gear = numGears; gear > 1; --gear)
        if (rpmAt(speedKmh, gear) >= lowestCruiseRpm)
            return gear;
    return 1;
}

dsp::Result<Drivetrain> parseDrivetrain(std::string_view name)
{
    const auto entry = std::ranges::find(drivetrainTable, name, &DrivetrainEntry::name);
    if (entry != drivetrainTable.end())
        return entry->drivetrain;
    std::string known;
    for (const DrivetrainEntry& each : drivetrainTable)
        known += (known.empty() ? "" : ", ") + std::string(each.name);
    return dsp::fail(dsp::ErrorCode::malformed,
                     "bike '" + std::string(name) + "' is not in the table; use one of " + known);
}

} // namespace saddletone::ride
