#pragma once

#include "Core/Dsp/Result.h"

#include <string_view>

namespace saddletone::report {

/** The units that a reader has on the speedometer. */
enum class SpeedUnits { both, mph, kmh };

/** The word used in files and on the command line: both, mph, kmh. */
[[nodiscard]] std::string_view speedUnitsName(SpeedUnits units) noexcept;

[[nodiscard]] dsp::Result<SpeedUnits> parseSpeedUnits(std::string_view name);

} // namespace saddletone::report
