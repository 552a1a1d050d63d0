#pragma once

#include "Core/Audition/RoadAudibility.h"
#include "Plugin/JobLoading.h"
#include "Plugin/ProgrammePlayer.h"

#include <juce_core/juce_core.h>

#include <memory>
#include <mutex>
#include <optional>

namespace saddletone::plugin {

/** Works out what of the programme remains on the ride, in the background; while it does, the last
    result stands. Of requests that come meanwhile only the newest is carried out. For the message
    thread. */
class RoadMeter {
public:
    RoadMeter() = default;
    ~RoadMeter();
    RoadMeter(const RoadMeter&) = delete;
    RoadMeter& operator=(const RoadMeter&) = delete;

    /** Null scene: there is nothing to work out. Part without audio: pink noise stands for the
        programme. */
    void want(const std::shared_ptr<const KeptScene>& scene, std::size_t candidate,
              double matchGainDb, const audition::AuditionEngine::Parameters& parameters,
              const ProgrammePlayer::HeardPart& part);
    /** Takes up what has been worked out. */
    void update();
    /** Null: nothing has been worked out yet. */
    [[nodiscard]] std::shared_ptr<const audition::RoadAudibility> road() const { return newest; }

private:
    struct Request {
        std::shared_ptr<const KeptScene> scene;
        std::size_t candidate = 0;
        double matchGainDb = 0.0;
        audition::RideChoice ride;
        audition::LevelMatch match = audition::LevelMatch::asOnTheBike;
        double volumeDb = 0.0;
        double noiseTrimDb = 0.0;
        ProgrammePlayer::HeardPart part;

        bool operator==(const Request&) const = default;
    };

    void startNext();
    [[nodiscard]] std::shared_ptr<const audition::RoadAudibility> workOut(const Request& request);

    std::optional<Request> wanted;
    std::optional<Request> started; ///< Being worked out, or worked out last.
    bool isRunning = false;
    std::shared_ptr<const audition::RoadAudibility> newest;

    // Of the worker alone.
    ProgrammePlayer::HeardPart measuredPart;
    hearing::ThirdOctaveSpectrum programmeDbfs;

    std::mutex deliveryMutex;
    bool isDelivered = false;
    std::shared_ptr<const audition::RoadAudibility> delivery;

    juce::ThreadPool worker {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
