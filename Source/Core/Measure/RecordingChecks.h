#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Measurement.h"

#include <span>
#include <vector>

namespace saddletone::measure {

/** The channel of a recording with the most energy, in double precision. */
[[nodiscard]] std::vector<double> loudestChannel(const dsp::AudioBuffer& audio);

/** Fails if a recording carries no signal worth the name (peak below -60 dBFS). */
[[nodiscard]] dsp::Result<void> checkNotSilent(std::span<const double> samples,
                                               const std::string& source);

/** Fails if several half-waves are cut off flat at the recording's highest level, whether the
    converter or an amplifier in front of it did it. */
[[nodiscard]] dsp::Result<void> checkNotClipped(std::span<const double> samples, double sampleRate,
                                                const std::string& source);

} // namespace saddletone::measure
