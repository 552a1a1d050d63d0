#pragma once

#include "Core/Dsp/Result.h"

#include <string_view>

namespace saddletone::dsp {

/** Frequency weightings of IEC 61672-1. */
enum class Weighting { a, c, z };

/** Weighting in dB at a frequency, 0 dB at 1 kHz; silenceDb at 0 Hz except for Z.
    Poles by IEC 61672-1: 20.598997, 107.652649, 737.862231 and 12194.217148 Hz. */
[[nodiscard]] double weightingDb(Weighting weighting, double frequencyHz) noexcept;

/** The letter used in files and on the command line: A, C, Z. */
[[nodiscard]] std::string_view weightingName(Weighting weighting) noexcept;

[[nodiscard]] Result<Weighting> parseWeighting(std::string_view name);

} // namespace saddletone::dsp
