#include "Core/Audition/AuditionLevels.h"

namespace saddletone::audition {

AuditionLevels computeLevels(const LevelRequest& request) noexcept
{
    AuditionLevels levels;
    const double match = request.match == LevelMatch::equalLoudness ? request.matchGainDb : 0.0;
    levels.programmeSplDba = request.candidate.splDba + match;
    levels.noise = request.noise;
    for (double* level : {&levels.noise.windDba, &levels.noise.tyreDba, &levels.noise.engineDba,
                          &levels.noise.totalDba})
        if (*level > dsp::silenceDb)
            *level += request.noiseTrimDb;

    // One scale for music and noise keeps their ratio as on the road; it follows the sum, so that
    // a faster ride drowns the music instead of raising the level in the headphones.
    const double bothSplDba = dsp::powerToDb(dsp::dbToPower(request.reference.splDba)
                                             + dsp::dbToPower(levels.noise.totalDba));
    levels.scaleDb = listeningTargetDbfsA + request.outputLevelDb - bothSplDba;
    levels.programmeGainDb = request.candidate.splAtFullScaleDb + match + levels.scaleDb;
    levels.untouchedGainDb = listeningTargetDbfsA + request.outputLevelDb - request.pinkDbfsA;
    levels.outputDbfsA = dsp::powerToDb(dsp::dbToPower(levels.programmeSplDba + levels.scaleDb)
                                        + dsp::dbToPower(levels.noise.totalDba + levels.scaleDb));
    return levels;
}

} // namespace saddletone::audition
