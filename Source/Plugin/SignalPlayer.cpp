#include "Plugin/SignalPlayer.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace saddletone::plugin {

SignalPlayer::~SignalPlayer()
{
    delete current;
    delete pending.load();
    delete retired.load();
}

void SignalPlayer::prepare(const dsp::ProcessSpec& spec)
{
    playing.store(0);
    delete std::exchange(current, nullptr);
    delete pending.exchange(nullptr);
    delete retired.exchange(nullptr);
    sampleRate = spec.sampleRate;
    glidePerFrame = 1.0 - std::exp(-1.0 / (glideSeconds * sampleRate));
    fadeDownPerFrame = 1.0 / (stopRampSeconds * sampleRate);
    fade = 0.0;
    frame = 0;
    position.store(0.0);
}

void SignalPlayer::play(Cue cue)
{
    collectGarbage();
    ++newestNumber;
    auto next = std::make_unique<const Numbered>(Numbered {std::move(cue), newestNumber});
    delete pending.exchange(next.release(), std::memory_order_acq_rel);
    playing.store(newestNumber);
}

void SignalPlayer::collectGarbage()
{
    delete retired.exchange(nullptr, std::memory_order_acq_rel);
}

void SignalPlayer::setGains(float left, float right) noexcept
{
    wantedGains[0].store(left, std::memory_order_relaxed);
    wantedGains[1].store(right, std::memory_order_relaxed);
}

void SignalPlayer::takeUp() noexcept
{
    // The audio thread frees nothing: without room for the old signal the new one waits.
    if (current != nullptr && retired.load(std::memory_order_acquire) != nullptr)
        return;
    const Numbered* const next = pending.exchange(nullptr, std::memory_order_acq_rel);
    if (next == nullptr)
        return;
    if (current != nullptr)
        retired.store(current, std::memory_order_release);
    current = next;
    frame = 0;
    fadeUpPerFrame = 1.0 / std::max(1.0, current->cue.startRampSeconds * sampleRate);
    // From silence there is nothing to glide from.
    for (std::size_t side = 0; side < gains.size(); ++side)
        gains[side] = static_cast<double>(wantedGains[side].load(std::memory_order_relaxed));
}

void SignalPlayer::process(dsp::ChannelView<float> output) noexcept
{
    const std::array<double, 2> targets {
        static_cast<double>(wantedGains[0].load(std::memory_order_relaxed)),
        static_cast<double>(wantedGains[1].load(std::memory_order_relaxed))};
    const double endRampsPerFrame = 1.0 / (endRampSeconds * sampleRate);
    const std::size_t numOutputs = std::min(output.numChannels(), gains.size());
    for (std::size_t index = 0; index < output.numFrames(); ++index) {
        if (fade <= 0.0)
            takeUp();
        const bool shouldSound =
            current != nullptr && playing.load(std::memory_order_relaxed) == current->number;
        fade = std::clamp(fade + (shouldSound ? fadeUpPerFrame : -fadeDownPerFrame), 0.0, 1.0);
        if (fade <= 0.0 || current == nullptr) {
            frame = 0;
            continue;
        }
        const dsp::AudioBuffer& audio = *current->cue.audio;
        // A signal that is not silent at its end is faded there as well.
        const double toEnd = current->cue.repeats ? 1.0
                                                  : static_cast<double>(audio.numFrames() - frame)
                                                        * endRampsPerFrame;
        const double ramp = std::min(fade, std::min(1.0, toEnd));
        for (std::size_t side = 0; side < numOutputs; ++side) {
            gains[side] += glidePerFrame * (targets[side] - gains[side]);
            const auto& samples = audio.channels[audio.numChannels() == 1 ? 0 : side];
            output[side][index] +=
                static_cast<float>(ramp * gains[side] * static_cast<double>(samples[frame]));
        }
        if (++frame < audio.numFrames())
            continue;
        frame = 0;
        if (!current->cue.repeats) {
            fade = 0.0;
            std::uint64_t ended = current->number;
            playing.compare_exchange_strong(ended, 0);
        }
    }
    position.store(static_cast<double>(frame) / sampleRate, std::memory_order_relaxed);
}

} // namespace saddletone::plugin
