#include "Core/Audition/OnThisBike.h"

#include "Core/Audition/ReferenceProgramme.h"
#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <span>

namespace saddletone::audition {

namespace {

constexpr std::array sides {tuning::OutputGroup::left, tuning::OutputGroup::right};

using Taps = std::array<std::vector<float>, numEars>;

dsp::Result<Taps> tapsAtBareHead(const CandidateRequest& candidate, double sampleRate,
                                 std::size_t maxTaps)
{
    Taps taps;
    for (std::size_t side = 0; side < sides.size(); ++side) {
        auto made =
            buildKernelTaps(candidate, sides[side], ride::Helmet::none, sampleRate, maxTaps);
        if (!made)
            return made.unexpected();
        taps[side] = *std::move(made);
    }
    return taps;
}

/** Mean power of both sides of what a measure in dB says of each. */
template <typename Measure>
double meanOfSidesDb(const Taps& taps, double sampleRate, Measure&& measureDb)
{
    double power = 0.0;
    for (const std::vector<float>& side : taps)
        power += 0.5 * dsp::dbToPower(measureDb(side, sampleRate));
    return dsp::powerToDb(power);
}

bool isWhatThereIs(const CandidateRequest& candidate, const BikeNow& now)
{
    const measure::Response& response = candidate.response;
    return candidate.tuning.chains == now.tuning.chains
           && response.sampleRate == now.response.sampleRate
           && response.arrivalFrame == now.response.arrivalFrame
           && response.hasCalibration == now.response.hasCalibration
           && response.calibration == now.response.calibration
           && response.impulse == now.response.impulse;
}

/** SPL of full scale: the candidate's own, or that of the reference, whose recorder gain it is then
    taken to share. */
ProgrammeLevel fullScaleOf(const measure::Response& response, const SceneReference& reference)
{
    ProgrammeLevel level;
    level.source = response.hasCalibration ? LevelSource::measured : LevelSource::assumed;
    level.splAtFullScaleDb = response.hasCalibration ? response.calibration.splAtFullScaleDb()
                                                     : reference.level.splAtFullScaleDb;
    return level;
}

/** As long at every rate as the usual number is at 48 kHz, in a power of two. */
std::size_t differenceTaps(double sampleRate, std::size_t maxTaps)
{
    constexpr double seconds = 0.17;
    std::size_t taps = seat::DifferenceSettings {}.numTaps;
    while (static_cast<double>(taps) < seconds * sampleRate && taps < 65536)
        taps *= 2;
    return std::min(taps, maxTaps);
}

} // namespace

dsp::Result<SceneCandidate>
buildOnThisBikeCandidate(const CandidateRequest& candidate, const SceneReference& reference,
                         const BikeNow& now, const PartitionLayout& layout, double sampleRate)
{
    SceneCandidate built;
    built.name = candidate.name;
    // All of them come from one speaker and one programme and differ by filters alone.
    built.kinship = 1;
    const ProgrammeLevel fullScale = fullScaleOf(candidate.response, reference);
    OnThisBikeFigures figures;
    Taps heard = now.taps;
    Taps sent {std::vector {1.0F}, std::vector {1.0F}};
    figures.isUnchanged = isWhatThereIs(candidate, now);
    if (!figures.isUnchanged) {
        auto wanted = tapsAtBareHead(candidate, sampleRate, layout.maxTaps());
        if (!wanted)
            return wanted.unexpected();
        // Two recordings may stand for different levels at full scale.
        const auto gain = static_cast<float>(
            dsp::dbToAmplitude(fullScale.splAtFullScaleDb - now.level.splAtFullScaleDb));
        for (std::size_t side = 0; side < sides.size(); ++side) {
            for (float& tap : (*wanted)[side])
                tap *= gain;
            const auto difference = seat::candidateDifference(
                now.taps[side], (*wanted)[side],
                {.sampleRate = sampleRate,
                 .numTaps = differenceTaps(sampleRate, layout.maxTaps())});
            if (!difference)
                return dsp::fail(difference.error().code,
                                 "candidate '" + candidate.name + "' on a bike that plays '"
                                     + now.name + "': " + difference.error().message);
            sent[side].assign(difference->taps.begin(), difference->taps.end());
            figures.highestGainDb =
                side == 0 ? difference->highestGainDb
                          : std::max(figures.highestGainDb, difference->highestGainDb);
            figures.limitedProportion =
                std::max(figures.limitedProportion, difference->limitedProportion);
            const std::vector<double> there(now.taps[side].begin(), now.taps[side].end());
            const auto whole = dsp::convolve(there, difference->taps);
            heard[side].assign(whole.begin(),
                               whole.begin() + static_cast<std::ptrdiff_t>(there.size()));
        }
    }
    for (std::size_t side = 0; side < sides.size(); ++side)
        built.kernels[side][side] = std::make_shared<const PartitionedKernel>(layout, sent[side]);
    figures.sentDbfsA = meanOfSidesDb(sent, sampleRate, referenceLevelDbfsA);
    built.onThisBike = figures;
    built.level.source =
        now.level.source == LevelSource::measured ? fullScale.source : LevelSource::assumed;
    built.level.splAtFullScaleDb = now.level.splAtFullScaleDb;
    built.level.splDba =
        meanOfSidesDb(heard, sampleRate, referenceLevelDbfsA) + now.level.splAtFullScaleDb;
    built.matchGainDb =
        reference.loudnessDb
        - (meanOfSidesDb(heard, sampleRate, referenceLoudnessLufs) + now.level.splAtFullScaleDb);
    return built;
}

dsp::Result<AuditionScene> buildOnThisBike(const SceneRequest& request,
                                           const PartitionLayout& layout, double sampleRate)
{
    assert(request.nowOnBike != nullptr);
    // What the bike plays now, by itself, tells the levels that all the others refer to.
    SceneRequest atHead = request;
    const CandidateRequest nowParked = candidateAtSpeed(*request.nowOnBike, 0.0);
    atHead.candidates = {nowParked};
    atHead.candidates.front().overdrive = nullptr;
    atHead.reference = request.reference ? *request.reference : request.candidates.front();
    atHead.nowOnBike = nullptr;
    atHead.seat = nullptr;
    atHead.seatFilters = nullptr;
    atHead.ride.parameters.helmet = ride::Helmet::none;
    atHead.equaliserSpeedKmh = 0.0;
    auto scene = buildScene(atHead, layout, sampleRate);
    if (!scene)
        return scene.unexpected();
    auto taps = tapsAtBareHead(nowParked, sampleRate, layout.maxTaps());
    if (!taps)
        return taps.unexpected();
    scene->bikeNow = std::make_shared<const BikeNow>(
        BikeNow {request.nowOnBike->name, *std::move(taps), nowParked.response, nowParked.tuning,
                 scene->candidates.front().level});
    scene->candidates.clear();
    for (const CandidateRequest& candidate : request.candidates) {
        auto built = buildOnThisBikeCandidate(candidateAtSpeed(candidate, 0.0), *scene->reference,
                                              *scene->bikeNow, layout, sampleRate);
        if (!built)
            return built.unexpected();
        scene->candidates.push_back(*std::move(built));
    }
    return scene;
}

AuditionLevels levelsOnThisBike(const AuditionScene& scene, const SceneCandidate& candidate,
                                LevelMatch match, double outputLevelDb) noexcept
{
    double matchDb = 0.0;
    if (match == LevelMatch::equalLoudness) {
        double highestDb = candidate.matchGainDb;
        for (const SceneCandidate& each : scene.candidates)
            highestDb = std::max(highestDb, each.matchGainDb);
        matchDb = candidate.matchGainDb - highestDb;
    }
    AuditionLevels levels;
    levels.programmeSplDba = candidate.level.splDba + matchDb;
    levels.programmeGainDb = outputLevelDb + matchDb;
    levels.untouchedGainDb = outputLevelDb;
    levels.outputDbfsA = (candidate.onThisBike ? candidate.onThisBike->sentDbfsA : scene.pinkDbfsA)
                         + outputLevelDb + matchDb;
    levels.scaleDb = levels.outputDbfsA - levels.programmeSplDba;
    return levels;
}

} // namespace saddletone::audition
