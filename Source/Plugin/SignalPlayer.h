#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <memory>

namespace saddletone::plugin {

/** Plays a test signal that is held in memory at the device's rate.

    It starts and stops with ramps, so that no speaker is hit by a step; changes of level glide.
    Another signal starts only when the one that plays has been faded out. */
class SignalPlayer {
public:
    /** A signal to be played. One channel goes to all outputs, several go to one each. */
    struct Cue {
        std::shared_ptr<const dsp::AudioBuffer> audio;
        bool repeats = false;
        double startRampSeconds = 0.5; ///< Shorter where the signal must be exact early on.
    };

    static constexpr double stopRampSeconds = 0.05;
    static constexpr double endRampSeconds = 0.01; ///< Where a signal ends by itself.
    static constexpr double glideSeconds = 0.05;   ///< Time constant of level changes.

    // Setup (may allocate, not during process)
    SignalPlayer() = default;
    ~SignalPlayer();
    SignalPlayer(const SignalPlayer&) = delete;
    SignalPlayer& operator=(const SignalPlayer&) = delete;

    /** Falls silent and forgets the signal: it was made for the old rate. */
    void prepare(const dsp::ProcessSpec& spec);

    // Message thread
    /** From the beginning. audio: at the prepared rate. */
    void play(Cue cue);
    /** Frees what is no longer played; call it now and then. */
    void collectGarbage();

    // Any thread
    void stop() noexcept { playing.store(0); }
    /** Linear gain of the left and the right output, reached within a glide. */
    void setGains(float left, float right) noexcept;
    [[nodiscard]] bool isPlaying() const noexcept { return playing.load() != 0; }
    [[nodiscard]] double positionSeconds() const noexcept { return position.load(); }

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Adds to the output; outputs beyond the second stay as they are. */
    void process(dsp::ChannelView<float> output) noexcept;

private:
    struct Numbered {
        Cue cue;
        std::uint64_t number = 0;
    };

    void takeUp() noexcept;

    std::atomic<const Numbered*> pending {nullptr};
    std::atomic<const Numbered*> retired {nullptr};
    static_assert(std::atomic<const Numbered*>::is_always_lock_free);
    /** Number of the cue that should sound; 0 = none. A cue that ends clears only its own. */
    std::atomic<std::uint64_t> playing {0};
    static_assert(std::atomic<std::uint64_t>::is_always_lock_free);
    std::uint64_t newestNumber = 0; // message thread
    std::array<std::atomic<float>, 2> wantedGains {};
    static_assert(std::atomic<float>::is_always_lock_free);
    std::atomic<double> position {0.0};
    static_assert(std::atomic<double>::is_always_lock_free);

    // Audio thread
    const Numbered* current = nullptr;
    std::size_t frame = 0;
    double sampleRate = 48000.0;
    double glidePerFrame = 1.0;
    double fade = 0.0; // 0 = silent, 1 = full
    double fadeUpPerFrame = 1.0;
    double fadeDownPerFrame = 1.0;
    std::array<double, 2> gains {};
};

} // namespace saddletone::plugin
