#include "Core/Audition/TruePeakLimiter.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::audition {

namespace {

/** Distance, in steps of the oversampled rate, at which the interpolation's window ends: the length
    of the filter in ITU-R BS.1770-4 Annex 2, 48 steps. */
constexpr std::size_t halfSteps = 24;

/** Room for rounding to single precision between what is allowed and what is found. */
constexpr double roundingRoom = 1e-6;

/** Sinc in a Hann window, at a distance in oversampled steps. */
double interpolationWeight(double steps, double factor) noexcept
{
    if (std::abs(steps) >= static_cast<double>(halfSteps))
        return 0.0;
    const double angle = std::numbers::pi * steps / factor;
    const double sinc = std::abs(angle) < 1e-9 ? 1.0 : std::sin(angle) / angle;
    return sinc * 0.5 * (1.0 + std::cos(std::numbers::pi * steps / static_cast<double>(halfSteps)));
}

} // namespace

void TruePeakLimiter::prepare(const dsp::ProcessSpec& spec) noexcept
{
    sampleRate = spec.sampleRate;
    designInterpolation();
    update();
    reset();
}

void TruePeakLimiter::reset() noexcept
{
    gain = 1.0;
    channels = {};
    recentPosition = 0;
    partialsAreValid = true;
}

void TruePeakLimiter::setParameters(const Parameters& newParameters) noexcept
{
    if (newParameters == parameters)
        return;
    parameters = newParameters;
    update();
}

void TruePeakLimiter::update() noexcept
{
    // Written so that NaN ends up at the lower bound: a ceiling must not be lost to a bad number.
    const double ceilingDbfs = std::min(std::max(-60.0, parameters.ceilingDbfs), 0.0);
    const double releaseMs = std::min(std::max(1.0, parameters.releaseMs), 2000.0);
    ceiling = static_cast<double>(static_cast<float>(dsp::dbToAmplitude(ceilingDbfs)));
    recovery = 1.0 - std::exp(-1000.0 / (releaseMs * sampleRate));
}

void TruePeakLimiter::designInterpolation() noexcept
{
    const std::size_t factor = sampleRate < 96000.0 ? 4 : sampleRate < 192000.0 ? 2 : 1;
    numPhases = factor - 1;
    span = 2 * halfSteps / factor;
    weights.fill(0.0);
    largestSum = 1.0;
    for (std::size_t phase = 0; phase < numPhases; ++phase) {
        double sum = 0.0;
        for (std::size_t point = 0; point < span; ++point) {
            // The newest value lies half a span ahead of the sample, the oldest as far behind.
            const double steps = static_cast<double>(phase + 1) + static_cast<double>(halfSteps)
                                 - static_cast<double>((point + 1) * factor);
            weights[phase * span + point] = interpolationWeight(steps, static_cast<double>(factor));
            sum += std::abs(weights[phase * span + point]);
        }
        largestSum = std::max(largestSum, sum);
    }
}

void TruePeakLimiter::advance(Channel& channel, float output) noexcept
{
    const auto sample = static_cast<double>(output);
    for (std::size_t phase = 0; phase < numPhases; ++phase) {
        double* const partials = channel.partials.data() + phase * span;
        const double* const weight = weights.data() + phase * span;
        for (std::size_t point = span - 1; point > 0; --point)
            partials[point] = partials[point - 1] + weight[point] * sample;
        partials[0] = weight[0] * sample;
    }
    channel.recent[recentPosition] = output;
}

void TruePeakLimiter::rebuildPartials() noexcept
{
    for (Channel& channel : channels) {
        channel.partials.fill(0.0);
        // From the oldest, so that the sums round as they do sample by sample.
        const std::size_t newest = recentPosition;
        for (std::size_t count = 0; count < maxSpan; ++count) {
            advance(channel, channel.recent[recentPosition]);
            recentPosition = (recentPosition + 1) % maxSpan;
        }
        recentPosition = newest;
    }
    partialsAreValid = true;
}

double TruePeakLimiter::reach(const Channel& channel, double sample) const noexcept
{
    double largest = std::abs(sample);
    for (std::size_t phase = 0; phase < numPhases; ++phase) {
        const double* const partials = channel.partials.data() + phase * span;
        const double* const weight = weights.data() + phase * span;
        largest = std::max(largest, std::abs(weight[0] * sample));
        for (std::size_t point = 1; point < span; ++point)
            largest = std::max(largest, std::abs(partials[point - 1] + weight[point] * sample));
    }
    return largest;
}

double TruePeakLimiter::shareAllowed(const Channel& channel, double sample) const noexcept
{
    const double limit = ceiling * (1.0 - roundingRoom);
    double share = limit / std::max(limit, std::abs(sample));
    for (std::size_t phase = 0; phase < numPhases; ++phase) {
        const double* const partials = channel.partials.data() + phase * span;
        const double* const weight = weights.data() + phase * span;
        for (std::size_t point = 0; point < span; ++point) {
            const double before = point == 0 ? 0.0 : partials[point - 1];
            const double change = weight[point] * sample;
            if (std::abs(before + share * change) <= limit)
                continue;
            const double room = change > 0.0 ? limit - before : limit + before;
            share = std::min(share, std::max(0.0, room) / std::abs(change));
        }
    }
    return share;
}

bool TruePeakLimiter::passesUntouched(dsp::ChannelView<float> block) noexcept
{
    if (gain != 1.0)
        return false;
    float peak = 0.0F;
    for (std::size_t channel = 0; channel < block.numChannels(); ++channel) {
        for (const float sample : block[channel])
            peak = std::max(peak, std::abs(sample));
        for (const float sample : channels[channel].recent)
            peak = std::max(peak, std::abs(sample));
        // The maximum passes over NaN, so it is looked for by itself.
        if (std::ranges::any_of(block[channel], [](float s) { return std::isnan(s); }))
            return false;
    }
    return static_cast<double>(peak) * largestSum <= ceiling * (1.0 - roundingRoom);
}

void TruePeakLimiter::processFrame(dsp::ChannelView<float> block, std::size_t frame) noexcept
{
    gain += (1.0 - gain) * recovery;
    if (gain >= 1.0 - 1e-9)
        gain = 1.0;
    double reached = 0.0;
    for (std::size_t channel = 0; channel < block.numChannels(); ++channel) {
        float& sample = block[channel][frame];
        if (!std::isfinite(sample))
            sample = 0.0F;
        reached = std::max(reached, reach(channels[channel], gain * static_cast<double>(sample)));
    }
    double share = 1.0;
    if (reached > ceiling * (1.0 - roundingRoom)) {
        for (std::size_t channel = 0; channel < block.numChannels(); ++channel)
            share =
                std::min(share, shareAllowed(channels[channel],
                                             gain * static_cast<double>(block[channel][frame])));
        // The gain falls by what the sample asked too much, which may be less than it has to give
        // up itself: a sum at the ceiling may have no room left for one sample and need but a
        // little less from the next ones.
        const double shared = share * gain;
        gain = std::max(shared, gain * ceiling * (1.0 - roundingRoom) / reached);
        share = shared / std::max(gain, 1e-300);
    }
    for (std::size_t channel = 0; channel < block.numChannels(); ++channel) {
        float& sample = block[channel][frame];
        const double wanted = static_cast<double>(sample) * gain * share;
        sample = static_cast<float>(std::clamp(wanted, -ceiling, ceiling));
        advance(channels[channel], sample);
    }
    recentPosition = (recentPosition + 1) % maxSpan;
}

void TruePeakLimiter::process(dsp::ChannelView<float> block) noexcept
{
    assert(block.numChannels() <= maxChannels);
    if (block.numFrames() == 0)
        return;
    if (!passesUntouched(block)) {
        if (!partialsAreValid)
            rebuildPartials();
        for (std::size_t frame = 0; frame < block.numFrames(); ++frame)
            processFrame(block, frame);
        return;
    }
    const std::size_t numKept = std::min(block.numFrames(), maxSpan);
    for (std::size_t frame = block.numFrames() - numKept; frame < block.numFrames(); ++frame) {
        for (std::size_t channel = 0; channel < block.numChannels(); ++channel)
            channels[channel].recent[recentPosition] = block[channel][frame];
        recentPosition = (recentPosition + 1) % maxSpan;
    }
    partialsAreValid = false;
}

} // namespace saddletone::audition
