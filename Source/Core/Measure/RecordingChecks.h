#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Measurement.h"

#include <span>
#include <string>

namespace saddletone::measure {

/** The channel of a recording with the most energy; a view into it. audio: one channel or more. */
[[nodiscard]] std::span<const float> loudestChannel(const dsp::AudioBuffer& audio);

/** Fails if a recording carries no signal worth the name (peak below -60 dBFS). */
[[nodiscard]] dsp::Result<void> checkNotSilent(std::span<const float> samples,
                                               const std::string& source);

/** Fails if a sample stands more than 40 dB over full scale: no converter gives that. */
[[nodiscard]] dsp::Result<void> checkNotDamaged(std::span<const float> samples, double sampleRate,
                                                const std::string& source);

/** Fails if several half-waves are cut off flat at the recording's highest level, whether the
    converter or an amplifier in front of it did it. */
[[nodiscard]] dsp::Result<void> checkNotClipped(std::span<const float> samples, double sampleRate,
                                                const std::string& source);

/** All three in this order, for little more time than one of them. */
[[nodiscard]] dsp::Result<void> checkUsable(std::span<const float> samples, double sampleRate,
                                            const std::string& source);

} // namespace saddletone::measure
