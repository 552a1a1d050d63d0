#include "Core/Audition/CeilingLimiter.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>

namespace saddletone::audition {

void CeilingLimiter::prepare(const dsp::ProcessSpec& spec) noexcept
{
    sampleRate = spec.sampleRate;
    update();
    reset();
}

void CeilingLimiter::setParameters(const Parameters& newParameters) noexcept
{
    if (newParameters == parameters)
        return;
    parameters = newParameters;
    update();
}

void CeilingLimiter::update() noexcept
{
    // Written so that NaN ends up at the lower bound: a ceiling must not be lost to a bad number.
    const double ceilingDbfs = std::min(std::max(-60.0, parameters.ceilingDbfs), 0.0);
    const double releaseMs = std::min(std::max(1.0, parameters.releaseMs), 2000.0);
    ceiling = static_cast<float>(dsp::dbToAmplitude(ceilingDbfs));
    const double releaseSeconds = releaseMs / 1000.0;
    recovery = 1.0 - std::exp(-1.0 / (releaseSeconds * sampleRate));
}

void CeilingLimiter::process(dsp::ChannelView<float> block) noexcept
{
    const std::size_t numChannels = block.numChannels();
    for (std::size_t frame = 0; frame < block.numFrames(); ++frame) {
        float peak = 0.0F;
        for (std::size_t channel = 0; channel < numChannels; ++channel) {
            float& sample = block[channel][frame];
            if (!std::isfinite(sample))
                sample = 0.0F;
            peak = std::max(peak, std::abs(sample));
        }
        gain += (1.0 - gain) * recovery;
        if (static_cast<double>(peak) * gain > static_cast<double>(ceiling))
            gain = static_cast<double>(ceiling) / static_cast<double>(peak);
        if (gain >= 1.0 - 1e-9)
            gain = 1.0;
        // The product may round up past the ceiling by one unit, hence the clamp.
        for (std::size_t channel = 0; channel < numChannels; ++channel) {
            float& sample = block[channel][frame];
            sample = std::clamp(static_cast<float>(static_cast<double>(sample) * gain), -ceiling,
                                ceiling);
        }
    }
}

} // namespace saddletone::audition
