#include "Core/Audition/RoadAudibility.h"

#include "Core/Audition/CandidateKernels.h"
#include "Core/Dsp/Units.h"
#include "Core/Hearing/ProgrammeAtHead.h"

#include <algorithm>
#include <array>
#include <utility>

namespace saddletone::audition {

namespace {

/** The same of speaker groups, from what is heard of both sides. */
hearing::ThirdOctaveSpectrum groupsGainDb(const CandidateRequest& candidate, ride::Helmet helmet)
{
    const double kernelSeconds = AuditionEngine::Settings {}.maxKernelSeconds;
    measure::Response kernel;
    kernel.sampleRate = candidate.response.sampleRate;
    auto sides = buildSideTaps(candidate, helmet, kernel.sampleRate,
                               static_cast<std::size_t>(kernelSeconds * kernel.sampleRate));
    if (!sides)
        return {};
    hearing::ThirdOctaveSpectrum gain;
    const std::array<std::vector<float>*, 2> taps {&sides->left, &sides->right};
    std::array<hearing::ThirdOctaveSpectrum, 2> each;
    for (std::size_t side = 0; side < each.size(); ++side) {
        kernel.impulse = std::move(*taps[side]);
        each[side] = hearing::headGainDb(kernel, {}, ride::Helmet::none);
    }
    for (std::size_t band = 0; band < gain.levelsDb.size(); ++band)
        gain.levelsDb[band] = dsp::powerToDb(
            0.5
            * (dsp::dbToPower(each[0].levelsDb[band]) + dsp::dbToPower(each[1].levelsDb[band])));
    return gain;
}

} // namespace

hearing::ThirdOctaveSpectrum candidateGainDb(const CandidateRequest& candidate, ride::Helmet helmet,
                                             double equaliserSpeedKmh)
{
    if (candidate.groups != nullptr)
        return groupsGainDb(candidate, helmet);
    if (candidate.hasSpeedStates())
        return hearing::headGainDb(responseAtSpeed(*candidate.atSpeed, equaliserSpeedKmh),
                                   candidate.tuning, helmet);
    return hearing::headGainDb(candidate.response, candidate.tuning, helmet);
}

RoadAudibility assessRoad(const hearing::ThirdOctaveSpectrum& programmeDbfs,
                          const hearing::ThirdOctaveSpectrum& gainDb, const ProgrammeLevel& level,
                          const AuditionLevels& levels, const SceneRide& sceneRide,
                          const AuditionEngine::Parameters& parameters,
                          const hearing::AudibilityGoal& goal)
{
    RoadAudibility road;
    road.programme =
        programmeDbfs.raisedBy(gainDb).raisedBy(level.splAtFullScaleDb + levels.radioGainDb);
    road.noise = noiseSpectrum(sceneRide, parameters.ride).raisedBy(parameters.noiseTrimDb);
    road.music = hearing::assessAudibility({road.programme, road.noise, levels.plugLossDb, goal});
    const auto speech =
        hearing::speechProgramme().scaledToDba(road.programme.totalDb(dsp::Weighting::a));
    road.speech = hearing::speechInRide(speech, road.noise, levels.plugLossDb);
    road.powerRatio = hearing::powerRatio(std::max(0.0, road.music.overallGainDb.value_or(0.0)));
    road.exposure = {.noiseDba = road.noise.totalDb(dsp::Weighting::a),
                     .musicDba = road.programme.totalDb(dsp::Weighting::a),
                     .hours = 1.0,
                     .earPlugDb = levels.plugLossDb};
    road.dose = hearing::assessExposure(road.exposure);
    return road;
}

} // namespace saddletone::audition
