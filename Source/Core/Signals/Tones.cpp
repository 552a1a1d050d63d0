#include "Core/Signals/Tones.h"

#include "Core/Signals/Fade.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::signals {

std::vector<double> makeTone(const ToneShape& shape, double sampleRate)
{
    std::vector<double> samples(shape.numFrames);
    for (std::size_t frame = 0; frame < samples.size(); ++frame) {
        const double cycles = shape.frequencyHz * static_cast<double>(frame) / sampleRate;
        samples[frame] =
            shape.amplitude * std::sin(2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
    }
    fadeEnds(samples, shape.fadeFrames, shape.fadeFrames);
    return samples;
}

double warbleRateHz(const WarbleShape& shape) noexcept
{
    return std::min(4.0, (shape.toHz - shape.fromHz) / 8.0);
}

std::vector<double> makeWarble(const WarbleShape& shape, double sampleRate)
{
    assert(shape.toHz > shape.fromHz);
    const double rateHz = warbleRateHz(shape);
    // The swing stays inside the band by the modulation's rate, to leave room for its sidebands.
    const double lowestHz = shape.fromHz + rateHz;
    const double highestHz = shape.toHz - rateHz;
    const double middleHz = std::sqrt(lowestHz * highestHz);
    const double halfSwing = 0.5 * std::log(highestHz / lowestHz);

    std::vector<double> samples(shape.numFrames);
    double cycles = 0.0;
    for (std::size_t frame = 0; frame < samples.size(); ++frame) {
        samples[frame] = shape.amplitude * std::sin(2.0 * std::numbers::pi * cycles);
        const double turns = rateHz * static_cast<double>(frame) / sampleRate + 0.25;
        const double triangle = 1.0 - 4.0 * std::abs(turns - std::floor(turns) - 0.5);
        cycles += middleHz * std::exp(halfSwing * triangle) / sampleRate;
        cycles -= std::floor(cycles);
    }
    fadeEnds(samples, shape.fadeFrames, shape.fadeFrames);
    return samples;
}

} // namespace saddletone::signals
