#pragma once

#include "Core/Dsp/AudioBuffer.h"

#include <span>

namespace saddletone::test {

// Measures of rendered programme, apart from the core's own.

/** A weighting in dB from the formula of IEC 61672-1:2013, 5.4.6. */
[[nodiscard]] double aWeightingDb(double frequencyHz);

/** A-weighted level in dBFS (AES17) of a signal taken as one period; its length must be even. */
[[nodiscard]] double levelDbfsA(std::span<const float> samples, double sampleRate);

/** Integrated loudness of two channels in LUFS by libebur128, called directly. */
[[nodiscard]] double loudnessLufs(std::span<const float> left, std::span<const float> right,
                                  double sampleRate);

/** Pink noise, 20 Hz to 20 kHz, at -18 dBFS (AES17), numPeriods times over in both channels. */
[[nodiscard]] dsp::AudioBuffer referencePinkNoise(double sampleRate, std::size_t periodFrames,
                                                  std::size_t numPeriods);

} // namespace saddletone::test
