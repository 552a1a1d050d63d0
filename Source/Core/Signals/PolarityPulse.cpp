#include "Core/Signals/PolarityPulse.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace saddletone::signals {

std::size_t numRiseFrames(const PulseShape& shape, double sampleRate) noexcept
{
    return static_cast<std::size_t>(std::max(1L, std::lround(shape.riseSeconds * sampleRate)));
}

std::vector<double> makePulse(const PulseShape& shape, double sampleRate)
{
    const std::size_t numRise = numRiseFrames(shape, sampleRate);
    const auto numFall =
        static_cast<std::size_t>(std::max(1L, std::lround(shape.fallSeconds * sampleRate)));
    const auto raisedCosine = [](std::size_t frame, std::size_t length) {
        return 0.5
               - 0.5
                     * std::cos(std::numbers::pi * static_cast<double>(frame)
                                / static_cast<double>(length));
    };
    std::vector<double> samples(numRise + numFall);
    for (std::size_t frame = 0; frame < numRise; ++frame)
        samples[frame] = shape.amplitude * raisedCosine(frame, numRise);
    for (std::size_t frame = 0; frame < numFall; ++frame)
        samples[numRise + frame] = shape.amplitude * (1.0 - raisedCosine(frame, numFall));
    return samples;
}

} // namespace saddletone::signals
