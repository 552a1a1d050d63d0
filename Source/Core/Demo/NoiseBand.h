#pragma once

#include "Core/Dsp/RandomSource.h"

#include <vector>

namespace saddletone::demo {

/** A stroke of filtered noise. */
struct NoiseBand {
    double lowHz = 1000.0;     ///< High-pass, 12 dB per octave.
    double highHz = 10000.0;   ///< Low-pass, 12 dB per octave.
    double decaySeconds = 0.2; ///< Time to fall by 60 dB; the sound lasts this long.
    double amplitude = 1.0;    ///< RMS that the noise would have unfiltered at 48 kHz.
};

/** Noise of the same spectral density at every sample rate, decaying from its first sample on. */
[[nodiscard]] std::vector<float> makeNoiseBand(const NoiseBand& band, double sampleRate,
                                               dsp::RandomSource& random);

} // namespace saddletone::demo
