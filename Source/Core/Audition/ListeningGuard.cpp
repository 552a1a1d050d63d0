#include "Core/Audition/ListeningGuard.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace saddletone::audition {

namespace {

/** Time weightings F and S of IEC 61672-1. */
constexpr double fastSeconds = 0.125;
constexpr double slowSeconds = 1.0;

/** How far the level of time weighting F may stand above the ceiling for each part that the slow one
    is below it: low enough that the slow level does not run past the ceiling, high enough that music
    keeps its beats. Found by trial on steps and bursts. */
constexpr double fastAllowance = 4.0;

constexpr double holdSeconds = 10.0;
constexpr double recoveryDbPerSecond = 1.0;
/** A gain that is needed to within this much still holds. */
constexpr double stillNeededDb = 0.5;

/** Far above any programme; what is beyond would only make the means useless for a long time. */
constexpr double largestSample = 1000.0;

} // namespace

void ListeningGuard::prepare(const dsp::ProcessSpec& spec)
{
    sampleRate = spec.sampleRate;
    design = sampleRate >= 32000.0 ? dsp::designWeighting(dsp::Weighting::a, sampleRate)
                                   : dsp::WeightingDesign {};
    fastShare = 1.0 - std::exp(-1.0 / (fastSeconds * sampleRate));
    slowShare = 1.0 - std::exp(-1.0 / (slowSeconds * sampleRate));
    recovery = dsp::dbToAmplitude(recoveryDbPerSecond / sampleRate);
    holdFrames = static_cast<std::size_t>(std::lround(holdSeconds * sampleRate));
    update();
    reset();
}

void ListeningGuard::reset() noexcept
{
    ears = {};
    framesToHold = 0;
    gain = 1.0;
}

void ListeningGuard::setParameters(const Parameters& newParameters) noexcept
{
    if (newParameters == parameters)
        return;
    parameters = newParameters;
    update();
}

void ListeningGuard::update() noexcept
{
    active = isKnown(parameters.headphoneSplAtFullScaleDb);
    // Written so that NaN ends up at the lower bound.
    const double ceilingDba = std::min(std::max(60.0, parameters.ceilingDba), 100.0);
    const double rms =
        active ? dsp::dbfsToRms(ceilingDba - parameters.headphoneSplAtFullScaleDb) : 0.0;
    ceilingPower = rms * rms;
}

double ListeningGuard::levelDba() const noexcept
{
    if (!active)
        return dsp::silenceDb;
    const double level = dsp::rmsToDbfs(std::sqrt(std::max(ears[0].slowPower, ears[1].slowPower)));
    return level > dsp::silenceDb ? level + parameters.headphoneSplAtFullScaleDb : level;
}

double ListeningGuard::weighted(Ear& ear, double sample) const noexcept
{
    for (std::size_t section = 0; section < design.numSections; ++section) {
        const dsp::BiquadCoefficients& c = design.sections[section];
        auto& [s1, s2] = ear.states[section];
        const double output = c.b0 * sample + s1;
        s1 = c.b1 * sample - c.a1 * output + s2;
        s2 = c.b2 * sample - c.a2 * output;
        sample = output;
    }
    return sample;
}

void ListeningGuard::moveGain() noexcept
{
    const double fast = std::max(ears[0].fastPower, ears[1].fastPower);
    const double slow = std::max(ears[0].slowPower, ears[1].slowPower);
    // As far as the slow level is below the ceiling the fast one may be above it: the nearer the
    // slow level comes, the slower it rises.
    const double allowed = ceilingPower + fastAllowance * std::max(0.0, ceilingPower - slow);
    const double demand = gain * gain * fast;
    if (demand > allowed) {
        gain *= std::sqrt(allowed / demand);
        framesToHold = holdFrames;
    } else if (gain < 1.0) {
        if (demand * dsp::dbToPower(stillNeededDb) > allowed)
            framesToHold = holdFrames;
        if (framesToHold > 0)
            --framesToHold;
        else
            gain = std::min(1.0, gain * recovery);
    }
}

void ListeningGuard::process(dsp::ChannelView<float> block) noexcept
{
    assert(block.numChannels() <= maxChannels);
    if (!active && gain == 1.0)
        return;
    for (std::size_t frame = 0; frame < block.numFrames(); ++frame) {
        for (std::size_t channel = 0; channel < block.numChannels(); ++channel) {
            float& sample = block[channel][frame];
            if (!std::isfinite(sample))
                sample = 0.0F;
            if (!active)
                continue;
            Ear& ear = ears[channel];
            const double level = weighted(
                ear, std::clamp(static_cast<double>(sample), -largestSample, largestSample));
            ear.fastPower += (level * level - ear.fastPower) * fastShare;
            ear.slowPower += (gain * gain * level * level - ear.slowPower) * slowShare;
        }
        if (active)
            moveGain();
        else
            gain = std::min(1.0, gain * recovery);
        for (std::size_t channel = 0; channel < block.numChannels(); ++channel)
            block[channel][frame] =
                static_cast<float>(static_cast<double>(block[channel][frame]) * gain);
    }
}

} // namespace saddletone::audition
