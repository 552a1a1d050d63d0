#include "Core/Demo/NoiseBand.h"

#include "Core/Demo/DampedPartials.h"
#include "Core/Demo/StateVariableFilter.h"

#include <cmath>
#include <cstddef>
#include <numbers>

namespace saddletone::demo {

std::vector<float> makeNoiseBand(const NoiseBand& band, double sampleRate,
                                 dsp::RandomSource& random)
{
    constexpr double butterworthQ = 1.0 / std::numbers::sqrt2;
    StateVariableFilter highPass(band.lowHz, butterworthQ, sampleRate);
    StateVariableFilter lowPass(band.highHz, butterworthQ, sampleRate);

    // A uniform number in [-1, 1) has an RMS of 1/sqrt 3; a wider band needs more power in all to
    // hold the density.
    double gain = band.amplitude * std::numbers::sqrt3 * std::sqrt(sampleRate / 48000.0);
    const double decay = decayFactor(band.decaySeconds, sampleRate);
    std::vector<float> sound(static_cast<std::size_t>(band.decaySeconds * sampleRate));
    for (float& sample : sound) {
        const double white = gain * (2.0 * random.nextUniform() - 1.0);
        sample = static_cast<float>(lowPass.process(highPass.process(white).highPass).lowPass);
        gain *= decay;
    }
    return sound;
}

} // namespace saddletone::demo
