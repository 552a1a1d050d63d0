#pragma once

#include "Core/Dsp/AudioBuffer.h"

#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace saddletone::files {

/** Converts one channel to ratio times its number of samples (libsoxr, very high quality).
    ratio: 0.01 to 100, any real number. No delay is added: sample n of the result lies at time
    n / ratio of the input. */
[[nodiscard]] std::vector<double> resample(std::span<const double> samples, double ratio);

/** Converts all channels to a new sample rate; a copy if it is the same already. */
[[nodiscard]] dsp::AudioBuffer resample(const dsp::AudioBuffer& audio, double newSampleRate);

/** The same to the bit, with word of the share that is done, 0 to 1, some times a second. Nothing:
    progress returned false, which ends it. */
[[nodiscard]] std::optional<dsp::AudioBuffer> resample(const dsp::AudioBuffer& audio,
                                                       double newSampleRate,
                                                       const std::function<bool(double)>& progress);

/** Converts an impulse response to a new sample rate; its frequency response is kept. */
[[nodiscard]] std::vector<double> resampleImpulse(std::span<const double> impulse,
                                                  double sampleRate, double newSampleRate);

} // namespace saddletone::files
