#include "Core/Audition/RoadAudibility.h"

#include "Core/Hearing/ProgrammeAtHead.h"

#include <algorithm>

namespace saddletone::audition {

hearing::ThirdOctaveSpectrum candidateGainDb(const CandidateRequest& candidate, ride::Helmet helmet,
                                             double equaliserSpeedKmh)
{
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
