#include "Plugin/RoadMeter.h"

#include "Core/Hearing/ProgrammeAtHead.h"

#include <algorithm>
#include <exception>

namespace saddletone::plugin {

RoadMeter::~RoadMeter()
{
    worker.removeAllJobs(true, -1);
}

void RoadMeter::want(const std::shared_ptr<const KeptScene>& scene, std::size_t candidate,
                     double matchGainDb, const audition::AuditionEngine::Parameters& parameters,
                     const ProgrammePlayer::HeardPart& part)
{
    if (scene == nullptr) {
        wanted.reset();
        started.reset();
        newest = nullptr;
        return;
    }
    wanted = Request {scene,
                      candidate,
                      matchGainDb,
                      parameters.ride,
                      parameters.match,
                      parameters.volumeDb,
                      parameters.noiseTrimDb,
                      part};
    startNext();
}

void RoadMeter::startNext()
{
    if (isRunning || !wanted || wanted == started)
        return;
    started = wanted;
    isRunning = true;
    worker.addJob([this, request = *started] {
        std::shared_ptr<const audition::RoadAudibility> made;
        try {
            made = workOut(request);
        } catch (const std::exception&) {
            // For want of memory; the screen then says nothing of it.
        }
        const std::lock_guard lock(deliveryMutex);
        delivery = std::move(made);
        isDelivered = true;
    });
}

std::shared_ptr<const audition::RoadAudibility> RoadMeter::workOut(const Request& request)
{
    if (request.part.audio == nullptr) {
        programmeDbfs = hearing::pinkProgrammeDbfs(audition::referenceProgrammeDbfs);
        measuredPart = {};
    } else if (request.part != measuredPart) {
        // A minute tells the spectrum of a piece.
        constexpr double longestSeconds = 60.0;
        const dsp::AudioBuffer& audio = *request.part.audio;
        const auto most = static_cast<std::size_t>(longestSeconds * audio.sampleRate);
        const std::size_t end = std::min(request.part.endFrame, request.part.beginFrame + most);
        dsp::AudioBuffer heard {audio.sampleRate, {}};
        for (const std::vector<float>& channel : audio.channels)
            heard.channels.emplace_back(channel.begin()
                                            + static_cast<std::ptrdiff_t>(request.part.beginFrame),
                                        channel.begin() + static_cast<std::ptrdiff_t>(end));
        programmeDbfs = hearing::programmeSpectrumDbfs(heard).raisedBy(request.part.gainDb);
        measuredPart = request.part;
    }
    const audition::AuditionScene& scene = request.scene->scene;
    const std::size_t index = std::min(request.candidate, scene.candidates.size() - 1);
    audition::AuditionEngine::Parameters parameters;
    parameters.ride = request.ride;
    parameters.match = request.match;
    parameters.volumeDb = request.volumeDb;
    parameters.noiseTrimDb = request.noiseTrimDb;
    const audition::SceneCandidate& candidate = scene.candidates[index];
    audition::AuditionLevels levels = audition::levelsOf(scene, candidate, parameters);
    // What is heard has the gain of the match as well.
    if (request.match == audition::LevelMatch::equalLoudness)
        levels.radioGainDb += request.matchGainDb;
    const auto gainDb =
        audition::candidateGainDb(request.scene->loaded->request.candidates[index],
                                  scene.ride.parameters.helmet, scene.equaliserSpeedKmh);
    return std::make_shared<const audition::RoadAudibility>(audition::assessRoad(
        programmeDbfs, gainDb, candidate.level, levels, scene.ride, parameters));
}

void RoadMeter::update()
{
    {
        const std::lock_guard lock(deliveryMutex);
        if (!isDelivered)
            return;
        isDelivered = false;
        if (wanted)
            newest = std::move(delivery);
    }
    isRunning = false;
    startNext();
}

} // namespace saddletone::plugin
