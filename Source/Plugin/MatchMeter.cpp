#include "Plugin/MatchMeter.h"

#include <algorithm>
#include <exception>

namespace saddletone::plugin {

MatchMeter::~MatchMeter()
{
    if (stopped != nullptr)
        stopped->store(true);
    worker.removeAllJobs(true, -1);
}

MatchMeter::Key MatchMeter::keyOf(std::size_t candidate) const
{
    const audition::SceneCandidate& heard = scene->scene.candidates[candidate];
    return {.kernels = {heard.kernels[0][0], heard.kernels[1][1]},
            .splAtFullScaleDb = heard.level.splAtFullScaleDb,
            .referenceSplDba = scene->scene.reference ? scene->scene.reference->level.splDba : 0.0,
            .entryId = part.entryId,
            .beginFrame = part.beginFrame,
            .endFrame = part.endFrame};
}

const MatchMeter::Measured* MatchMeter::find(const Key& key) const
{
    const auto found = std::ranges::find(known, key, &Measured::key);
    return found != known.end() ? &*found : nullptr;
}

void MatchMeter::want(const std::shared_ptr<const KeptScene>& wantedScene,
                      const ProgrammePlayer::HeardPart& wantedPart)
{
    if (scene == wantedScene && part == wantedPart)
        return;
    scene = wantedScene;
    part = wantedPart;
    if (stopped != nullptr)
        stopped->store(true);
    isRunning = false;
    startNext();
}

void MatchMeter::startNext()
{
    if (scene == nullptr || part.audio == nullptr || isRunning)
        return;
    // Between a new rate and the scenes and files for it nothing fits together.
    if (scene->sampleRate != part.audio->sampleRate)
        return;
    for (std::size_t candidate = 0; candidate < scene->scene.candidates.size(); ++candidate) {
        Measured wanted {keyOf(candidate), std::nullopt};
        if (find(wanted.key) != nullptr)
            continue;
        isRunning = true;
        stopped = std::make_shared<std::atomic<bool>>(false);
        worker.addJob([this, candidate, made = std::move(wanted), played = scene, heard = part,
                       stop = stopped]() mutable {
            try {
                const auto lufs = audition::programmeLoudnessLufs(
                    played->scene, candidate, {*heard.audio, heard.beginFrame, heard.endFrame},
                    *stop);
                if (!lufs)
                    return;
                made.loudnessLufs = lufs;
            } catch (const std::exception&) {
                // For want of memory: it then counts as with pink noise, and the screen says so.
                made.loudnessLufs.reset();
            }
            const std::lock_guard lock(deliveryMutex);
            deliveries.push_back(std::move(made));
        });
        return;
    }
}

bool MatchMeter::update()
{
    std::vector<Measured> made;
    {
        const std::lock_guard lock(deliveryMutex);
        made.swap(deliveries);
    }
    if (made.empty())
        return false;
    for (Measured& each : made)
        if (find(each.key) == nullptr)
            known.push_back(std::move(each));
    if (known.size() > mostKept)
        known.erase(known.begin(),
                    known.begin() + static_cast<std::ptrdiff_t>(known.size() - mostKept));
    isRunning = false;
    startNext();
    return true;
}

std::optional<audition::ProgrammeMatch> MatchMeter::match() const
{
    if (scene == nullptr)
        return std::nullopt;
    std::vector<std::optional<double>> loudness;
    for (std::size_t candidate = 0; candidate < scene->scene.candidates.size(); ++candidate) {
        const Measured* const measured = part.audio != nullptr ? find(keyOf(candidate)) : nullptr;
        loudness.push_back(measured != nullptr ? measured->loudnessLufs : std::nullopt);
    }
    return audition::matchLoudness(scene->scene, loudness);
}

} // namespace saddletone::plugin
