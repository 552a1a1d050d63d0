#include "Core/Signals/Sweep.h"

#include "Core/Signals/Fade.h"

#include <cmath>
#include <numbers>

namespace saddletone::signals {

std::vector<double> makeSweep(const SweepShape& shape, double sampleRate)
{
    const double durationSeconds = static_cast<double>(shape.numFrames) / sampleRate;
    const double growthSeconds = durationSeconds / std::log(shape.toHz / shape.fromHz);
    std::vector<double> samples(shape.numFrames);
    for (std::size_t frame = 0; frame < samples.size(); ++frame) {
        const double cycles = shape.fromHz * growthSeconds
                              * std::exp(static_cast<double>(frame) / sampleRate / growthSeconds);
        samples[frame] =
            shape.amplitude * std::sin(2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
    }
    fadeEnds(samples, shape.fadeInFrames, shape.fadeOutFrames);
    return samples;
}

std::vector<double> makeMarker(const MarkerShape& shape, double sampleRate)
{
    const auto numFrames =
        static_cast<std::size_t>(std::lround(shape.durationSeconds * sampleRate));
    std::vector<double> samples(numFrames);
    const double slope = (shape.toHz - shape.fromHz) / shape.durationSeconds;
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const double seconds = static_cast<double>(frame) / sampleRate;
        samples[frame] =
            shape.amplitude
            * std::sin(2.0 * std::numbers::pi * (shape.fromHz + 0.5 * slope * seconds) * seconds);
    }
    const auto fadeFrames = static_cast<std::size_t>(0.1 * static_cast<double>(numFrames));
    fadeEnds(samples, fadeFrames, fadeFrames);
    return samples;
}

} // namespace saddletone::signals
