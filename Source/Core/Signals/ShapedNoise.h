#pragma once

#include <cstdint>
#include <vector>

namespace saddletone::signals {

/** Power spectrum of a noise. */
enum class NoiseColour {
    white, ///< Equal power per hertz.
    pink   ///< Equal power per octave.
};

/** A noise to be made. */
struct NoiseShape {
    NoiseColour colour = NoiseColour::pink;
    double sampleRate = 48000.0;
    double fromHz = 10.0;  ///< Band limits; sharp.
    double toHz = 22400.0; ///< Taken down to Nyquist where that is lower.
    double rms = 0.1;      ///< Linear, re full scale = 1; met exactly.
    std::uint64_t seed = 1;
};

/** Noise of exactly the given spectrum: bins of fixed magnitude and random phase, so that levels of
    bands do not scatter as those of filtered random noise do (which at 25 Hz and 60 s has a
    standard deviation of 0.23 dB a third octave), and by the central limit theorem a normal
    distribution of samples. Repeats seamlessly with its length. numFrames: 2 or more. */
[[nodiscard]] std::vector<float> makeShapedNoise(const NoiseShape& shape, std::size_t numFrames);

} // namespace saddletone::signals
