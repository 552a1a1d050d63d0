#pragma once

#include "Core/Measure/Response.h"
#include "Core/Tuning/FitCurve.h"

#include <cstdint>
#include <functional>
#include <string>

namespace saddletone::test {

/** A response of minimum phase with this level, trusted from 20 Hz to 20 kHz. */
[[nodiscard]] measure::Response responseOf(const std::function<double(double)>& levelDbAt,
                                           const std::string& name = "state");

/** Takes the trust of all bands beyond a range. */
void trustOnly(measure::Response& response, double fromHz, double toHz);

/** A curve from 40 Hz to 16 kHz with exactly this level, a flat target and full weight. */
[[nodiscard]] tuning::FitCurve curveOf(const std::function<double(double)>& levelDbAt);

/** Peaks, dips, a roll-off at either end and a ripple; as each seed has it. */
[[nodiscard]] std::function<double(double)> unevenLevel(std::uint64_t seed);

} // namespace saddletone::test
