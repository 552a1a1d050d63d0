#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Dsp/Result.h"

#include <juce_core/juce_core.h>

#include <atomic>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <string>

namespace saddletone::plugin {

/** Plays one audio file, held in memory at the session's rate, in stereo.

    Starts, stops and jumps fade over 10 ms; a loop goes on from its last sample to its first.
    Files are read and converted on a thread of the player's own, and what is played stays until
    the next one is ready. */
class ProgrammePlayer {
public:
    /** What a transport shows. */
    struct State {
        bool loaded = false;
        bool playing = false;
        bool looping = false;
        bool busy = false; ///< A file is being read or converted.
        std::filesystem::path file;
        double positionSeconds = 0.0;
        double durationSeconds = 0.0;

        bool operator==(const State&) const = default;
    };

    // Setup (may allocate, not during process)
    ProgrammePlayer();
    ~ProgrammePlayer();
    ProgrammePlayer(const ProgrammePlayer&) = delete;
    ProgrammePlayer& operator=(const ProgrammePlayer&) = delete;

    /** A new rate has the programme converted again; it then goes on from where it was. */
    void prepare(const dsp::ProcessSpec& spec);

    // Message thread
    /** Mono or stereo; replaces what is played when it has been read, from its beginning. */
    void load(const std::filesystem::path& file);
    /** Forgets the programme. */
    void unload();
    /** Takes up what has been read and frees what is no longer played; call it now and then. */
    void update();
    /** Why the last load() failed; given once. */
    [[nodiscard]] std::optional<std::string> takeProblem();
    [[nodiscard]] State state() const;

    // Any thread
    void play() noexcept { playing.store(true); }
    void pause() noexcept { playing.store(false); }
    void setLooping(bool shouldLoop) noexcept { looping.store(shouldLoop); }
    /** Kept inside the programme. */
    void setPositionSeconds(double seconds) noexcept { requestedSeconds.store(seconds); }
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Fills two channels; silence while nothing plays. */
    void process(dsp::ChannelView<float> output) noexcept;

private:
    /** What the audio thread plays; a mono file has one channel, heard in both ears. */
    struct Programme {
        std::shared_ptr<const dsp::AudioBuffer> audio;
        std::size_t startFrame = 0;
    };

    struct Order {
        std::uint64_t number = 0;
        std::filesystem::path file;
        std::shared_ptr<const dsp::AudioBuffer> source; ///< As in the file; null: read it.
        double sampleRate = 48000.0;
        double startSeconds = 0.0;
    };

    struct Delivery {
        Order order;
        std::unique_ptr<const Programme> programme; ///< Null: see problem.
        std::string problem;
    };

    void placeOrder(Order order);
    void deliver(Order order);
    void publish(std::unique_ptr<const Programme> programme);
    void takeUpChanges() noexcept;

    static constexpr double noRequest = -1.0;
    static constexpr double fadeSeconds = 0.01;

    mutable std::mutex ownerMutex; // never taken by the audio thread
    double sampleRate = 48000.0;
    std::filesystem::path currentFile;
    std::shared_ptr<const dsp::AudioBuffer> currentSource;
    bool needsConversion = false; // currentSource is not yet at sampleRate
    std::optional<std::string> problem;
    std::optional<Order> waiting;

    std::mutex deliveryMutex;
    std::optional<Delivery> delivery;
    std::atomic<std::uint64_t> newestOrder {0};

    std::atomic<const Programme*> pending {nullptr};
    std::atomic<const Programme*> retired {nullptr};
    static_assert(std::atomic<const Programme*>::is_always_lock_free);
    std::atomic<bool> playing {false};
    std::atomic<bool> looping {false};
    std::atomic<double> requestedSeconds {noRequest};
    std::atomic<double> positionSeconds {0.0};
    static_assert(std::atomic<double>::is_always_lock_free);

    // Audio thread
    const Programme* current = nullptr;
    std::size_t position = 0;
    std::size_t fadeFrames = 480;
    std::size_t fadeCount = 0; // 0 = silent, fadeFrames = full

    juce::ThreadPool worker {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
