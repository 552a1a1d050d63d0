#pragma once

#include "Core/Audition/ProgrammeMatch.h"
#include "Plugin/JobLoading.h"
#include "Plugin/ProgrammePlayer.h"

#include <juce_core/juce_core.h>

#include <atomic>
#include <memory>
#include <mutex>
#include <optional>
#include <vector>

namespace saddletone::plugin {

/** Measures how loud each candidate is with the part of the programme that is heard, in the
    background. What has been measured once is kept, so that an edited candidate alone is measured
    again. For the message thread. */
class MatchMeter {
public:
    MatchMeter() = default;
    ~MatchMeter();
    MatchMeter(const MatchMeter&) = delete;
    MatchMeter& operator=(const MatchMeter&) = delete;

    /** What is to be compared, and over what; null or nothing: pink noise is all there is. */
    void want(const std::shared_ptr<const KeptScene>& wantedScene,
              const ProgrammePlayer::HeardPart& wantedPart);
    /** Takes up what has been measured; true if anything was. */
    bool update();
    [[nodiscard]] bool isMeasuring() const noexcept { return isRunning; }
    /** Of the scene wanted last; nothing without one. */
    [[nodiscard]] std::optional<audition::ProgrammeMatch> match() const;

private:
    /** What a loudness hangs on; the pointers keep the kernels they stand for. */
    struct Key {
        std::array<std::shared_ptr<const audition::PartitionedKernel>, 2> kernels;
        double splAtFullScaleDb = 0.0;
        double referenceSplDba = 0.0;
        std::uint64_t entryId = 0;
        std::size_t beginFrame = 0;
        std::size_t endFrame = 0;

        bool operator==(const Key&) const = default;
    };

    struct Measured {
        Key key;
        std::optional<double> loudnessLufs;
    };

    [[nodiscard]] Key keyOf(std::size_t candidate) const;
    [[nodiscard]] const Measured* find(const Key& key) const;
    void startNext();

    static constexpr std::size_t mostKept = 64;

    std::shared_ptr<const KeptScene> scene;
    ProgrammePlayer::HeardPart part;
    std::vector<Measured> known;
    std::shared_ptr<std::atomic<bool>> stopped;
    bool isRunning = false;

    std::mutex deliveryMutex;
    std::vector<Measured> deliveries;

    juce::ThreadPool worker {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
