#pragma once

#include "Core/Audition/ProgrammeList.h"
#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Dsp/Result.h"
#include "Plugin/WorkList.h"

#include <juce_core/juce_core.h>

#include <array>
#include <atomic>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::plugin {

/** Plays a list of audio files in stereo, from one to the next without a gap.

    The file that is heard and the one behind it are held in memory at the session's rate, no others.
    Starts, stops and jumps fade over 10 ms; a whole file goes round from its last sample to its
    first, a region with the seam of audition::LoopSeam. Files are read, converted and measured on a
    thread of the player's own, and what is played stays until the next one is ready, and if that
    is cancelled. */
class ProgrammePlayer {
public:
    /** Longest file: some 460 MB at 48 kHz. */
    static constexpr double longestSeconds = 1200.0;

    /** What a transport shows. */
    struct State {
        bool loaded = false;
        bool playing = false;
        bool looping = false;
        bool busy = false; ///< A file is being read or converted, and not only for later.
        std::filesystem::path file;
        double positionSeconds = 0.0;
        double durationSeconds = 0.0;

        bool operator==(const State&) const = default;
    };

    /** What is heard again and again, or the whole file; for measuring. */
    struct HeardPart {
        std::shared_ptr<const dsp::AudioBuffer> audio; ///< Null: nothing is loaded.
        std::uint64_t entryId = 0;
        std::size_t beginFrame = 0;
        std::size_t endFrame = 0;
        double gainDb = 0.0; ///< Applied when it is played.

        bool operator==(const HeardPart&) const = default;
    };

    // Setup (may allocate, not during process)
    ProgrammePlayer();
    ~ProgrammePlayer();
    ProgrammePlayer(const ProgrammePlayer&) = delete;
    ProgrammePlayer& operator=(const ProgrammePlayer&) = delete;

    /** A new rate has the programme converted again; it then goes on from where it was. */
    void prepare(const dsp::ProcessSpec& spec);

    // Message thread
    /** Mono or stereo; takes the place of the list when it has been read, from its beginning. */
    void load(const std::filesystem::path& file);
    /** Puts files before the entry at an index, or at the end. */
    void add(const std::vector<std::filesystem::path>& files,
             std::size_t before = audition::ProgrammeList::maxEntries);
    void remove(std::size_t index);
    void move(std::size_t from, std::size_t to);
    /** Goes to an entry, from its beginning. */
    void select(std::size_t index);
    void setRegion(std::size_t index, const std::optional<audition::LoopRegion>& region);
    /** Whether files are brought to one loudness. */
    void setAligned(bool shouldBeAligned);
    [[nodiscard]] bool isAligned() const;
    [[nodiscard]] audition::ProgrammeList list() const;
    [[nodiscard]] HeardPart heardPart() const;
    /** Goes to the beginning of the region, or of the file. */
    void restart();
    /** Forgets the programme. */
    void unload();
    /** Takes up what has been read and frees what is no longer played; call it now and then. */
    void update();
    /** Why a file could not be read; given once. */
    [[nodiscard]] std::optional<std::string> takeProblem();
    [[nodiscard]] State state() const;
    /** How far a file is that is being read to be heard now; none: there is none, or it has only
        just begun. */
    [[nodiscard]] gui::JobTaskView opening() const;
    /** Ends the reading of that file. What was heard before stays; an entry of the list stays there
        and is passed over until it is selected. */
    void cancelOpening();

    // Any thread
    void play() noexcept { playing.store(true); }
    void pause() noexcept { playing.store(false); }
    /** The list goes round; with one file in it that file does. */
    void setLooping(bool shouldLoop) noexcept { looping.store(shouldLoop); }
    /** Kept inside the file. */
    void setPositionSeconds(double seconds) noexcept { requestedSeconds.store(seconds); }
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Fills two channels; silence while nothing plays. */
    void process(dsp::ChannelView<float> output) noexcept;

private:
    /** What the audio thread plays; a mono file has one channel, heard in both ears. */
    struct Programme {
        std::uint64_t entryId = 0;
        std::shared_ptr<const dsp::AudioBuffer> audio;
        std::optional<audition::LoopSeam> seam;
        float gain = 1.0F;
        std::size_t startFrame = 0;
        bool keepsPosition = false; ///< Of the same entry, where that is heard already.

        [[nodiscard]] float sampleAt(std::size_t channel, std::size_t frame) const noexcept
        {
            const auto& samples = channel == 0 ? audio->channels.front() : audio->channels.back();
            return gain * (seam ? seam->sampleAt(samples, frame) : samples[frame]);
        }
    };

    struct Order {
        std::uint64_t number = 0;
        std::filesystem::path file;
        std::uint64_t entryId = 0; ///< 0: takes the place of the list.
        double sampleRate = 48000.0;
        double startSeconds = 0.0;
        bool isAhead = false;          ///< For the time when the current one has ended.
        std::shared_ptr<Work> work {}; ///< Given when it is placed.
    };

    struct Delivery {
        Order order;
        std::shared_ptr<const dsp::AudioBuffer> audio; ///< Null: see problem.
        double loudnessLufs = 0.0;
        std::string problem;
    };

    /** A file in memory. */
    struct Track {
        std::uint64_t entryId = 0;
        std::shared_ptr<const dsp::AudioBuffer> audio;
    };

    // All of these need ownerMutex.
    void placeOrder(Order order);
    /** Nothing is to come of what is being read; without effect where nothing is. */
    void dropWaiting();
    void dropWaitingAhead();
    void placeSelected(double startSeconds);
    void takeUp(Delivery& made);
    void takeUpProblem(const Delivery& made);
    /** What is heard is the current one again; false: nothing is heard. */
    bool goBackToHeard();
    void followAudioThread();
    void lookAhead();
    void takeBackFollowing();
    void publish(std::unique_ptr<const Programme> programme);
    void republish();
    void freeRetired();
    [[nodiscard]] std::shared_ptr<const dsp::AudioBuffer> findTrack(std::uint64_t entryId) const;
    void keepTrack(std::uint64_t entryId, std::shared_ptr<const dsp::AudioBuffer> audio);
    [[nodiscard]] std::unique_ptr<Programme>
    makeProgramme(const audition::ProgrammeEntry& entry,
                  std::shared_ptr<const dsp::AudioBuffer> audio) const;
    [[nodiscard]] const audition::ProgrammeEntry* heardEntry() const;

    void deliver(Order order);
    [[nodiscard]] bool isOutdated(const Order& order) const noexcept;
    /** Reads, converts and measures the file of an order; nothing: that was cancelled. */
    [[nodiscard]] std::optional<Delivery> carryOut(const Order& order) const;
    void takeUpChanges() noexcept;
    [[nodiscard]] bool retire(const Programme* programme) noexcept;
    [[nodiscard]] bool goOnToFollowing() noexcept;

    static constexpr double noRequest = -1.0;
    static constexpr double fadeSeconds = 0.01;

    mutable std::mutex ownerMutex; // never taken by the audio thread
    double sampleRate = 48000.0;
    audition::ProgrammeList files;
    std::uint64_t heardId = 0; ///< Entry published last; 0 = none.
    std::vector<Track> tracks; ///< The one that is heard and the one behind it.
    bool aligned = false;
    std::optional<std::string> problem;
    std::optional<Order> waiting;             ///< For what is to be heard now.
    std::optional<Order> waitingAhead;        ///< For what is to be heard next.
    WorkList works {gui::JobTask::programme}; ///< Of what is waited for; not of what comes next.
    std::uint64_t followingId = 0;            ///< Entry handed to the audio thread as the next.

    std::mutex deliveryMutex;
    std::vector<Delivery> deliveries;
    std::atomic<std::uint64_t> newestOrder {0};
    std::atomic<std::uint64_t> newestAhead {0};

    std::atomic<const Programme*> pending {nullptr};
    std::atomic<const Programme*> following {nullptr};
    std::array<std::atomic<const Programme*>, 2> retired {};
    static_assert(std::atomic<const Programme*>::is_always_lock_free);
    std::atomic<bool> hasMore {false}; ///< Something follows, whether it is ready or not.
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
