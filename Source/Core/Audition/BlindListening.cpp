#include "Core/Audition/BlindListening.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace saddletone::audition {

namespace {

constexpr std::uint32_t candidateMask = 0xFFU;
constexpr std::uint32_t switchStep = 0x100U;

} // namespace

void BlindListening::prepare(double sampleRate)
{
    const auto toFrames = [&](double seconds) {
        return static_cast<std::size_t>(std::max(1L, std::lround(seconds * sampleRate)));
    };
    fadeFrames = toFrames(fadeSeconds);
    silentFrames = toFrames(silenceSeconds);
    startPhase(Phase::open);
}

void BlindListening::begin(const AuditionEngine::Parameters& newConditions, std::size_t candidate)
{
    conditions.push_back(std::make_unique<const AuditionEngine::Parameters>(newConditions));
    switchTo(candidate);
    conditionsHeld.store(conditions.back().get(), std::memory_order_release);
}

void BlindListening::switchTo(std::size_t candidate) noexcept
{
    assert(candidate < maxCandidates);
    const std::uint32_t before = wanted.load(std::memory_order_relaxed);
    wanted.store(((before & ~candidateMask) + switchStep) | static_cast<std::uint32_t>(candidate),
                 std::memory_order_release);
}

void BlindListening::end() noexcept
{
    conditionsHeld.store(nullptr, std::memory_order_release);
}

BlindListening::Wish BlindListening::wish() const noexcept
{
    return {conditionsHeld.load(std::memory_order_acquire), wanted.load(std::memory_order_acquire)};
}

AuditionEngine::Parameters
BlindListening::parametersOf(const Wish& wish, const AuditionEngine::Parameters& own) noexcept
{
    if (wish.conditions == nullptr)
        return own;
    AuditionEngine::Parameters parameters = *wish.conditions;
    parameters.candidate = wish.switched & candidateMask;
    parameters.outputLevelDb = own.outputLevelDb;
    parameters.ceilingDbfs = own.ceilingDbfs;
    if (own.monitor == Monitor::untouched)
        parameters.monitor = own.monitor;
    return parameters;
}

AuditionEngine::Parameters
BlindListening::parametersOver(const AuditionEngine::Parameters& own) const noexcept
{
    return parametersOf(wish(), own);
}

void BlindListening::takeUp(const Wish& wish) noexcept
{
    const bool isOther = wish.conditions != taken.conditions
                         || (wish.conditions != nullptr && wish.switched != taken.switched);
    taken = wish;
    if (!isOther)
        return;
    // From wherever the gain is, so that it never jumps.
    if (phase == Phase::open) {
        startPhase(Phase::closing);
    } else if (phase == Phase::silent) {
        phasePosition = 0;
    } else if (phase == Phase::opening) {
        phase = Phase::closing;
        phasePosition = fadeFrames - phasePosition;
    }
}

std::size_t BlindListening::framesOf(Phase which) const noexcept
{
    return which == Phase::silent ? silentFrames : fadeFrames;
}

float BlindListening::gainAt(std::size_t position) const noexcept
{
    const float proportion = (static_cast<float>(position) + 0.5F) / static_cast<float>(fadeFrames);
    switch (phase) {
    case Phase::open: return 1.0F;
    case Phase::closing: return 1.0F - proportion;
    case Phase::silent: return 0.0F;
    case Phase::opening: return proportion;
    }
    return 1.0F;
}

void BlindListening::startPhase(Phase next) noexcept
{
    phase = next;
    phasePosition = 0;
}

void BlindListening::process(AuditionEngine& engine, const AuditionEngine::Parameters& own,
                             dsp::ChannelView<const float> input,
                             dsp::ChannelView<float> output) noexcept
{
    numBlocks.fetch_add(1, std::memory_order_relaxed);
    const Wish now = wish();
    takeUp(now);
    const AuditionEngine::Parameters next = parametersOf(now, own);
    if (phase == Phase::open) {
        last = next;
        engine.setParameters(next);
        engine.process(input, output);
        return;
    }

    assert(output.numChannels() == numEars && input.numChannels() <= numEars);
    std::size_t done = 0;
    while (done < output.numFrames()) {
        while (phase != Phase::open && phasePosition >= framesOf(phase))
            startPhase(phase == Phase::closing  ? Phase::silent
                       : phase == Phase::silent ? Phase::opening
                                                : Phase::open);
        const std::size_t left = output.numFrames() - done;
        const std::size_t count =
            phase == Phase::open ? left : std::min(left, framesOf(phase) - phasePosition);
        if (phase != Phase::closing)
            last = next;
        // What was heard goes on until it is silent, but at the level and ceiling of now.
        AuditionEngine::Parameters parameters = last;
        parameters.outputLevelDb = next.outputLevelDb;
        parameters.ceilingDbfs = next.ceilingDbfs;
        engine.setParameters(parameters);

        std::array<const float*, numEars> from {};
        std::array<float*, numEars> to {};
        for (std::size_t channel = 0; channel < input.numChannels(); ++channel)
            from[channel] = input[channel].data() + done;
        for (std::size_t ear = 0; ear < numEars; ++ear)
            to[ear] = output[ear].data() + done;
        engine.process({from.data(), input.numChannels(), count}, {to.data(), numEars, count});
        if (phase != Phase::open)
            for (float* const samples : to)
                for (std::size_t frame = 0; frame < count; ++frame)
                    samples[frame] *= gainAt(phasePosition + frame);
        phasePosition += count;
        done += count;
    }
}

} // namespace saddletone::audition
