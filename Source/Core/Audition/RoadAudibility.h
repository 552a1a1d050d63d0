#pragma once

#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Hearing/Audibility.h"
#include "Core/Hearing/Exposure.h"

#include <optional>

namespace saddletone::audition {

/** What of a programme remains on a ride, and what the ride does to the ears. */
struct RoadAudibility {
    hearing::ThirdOctaveSpectrum programme; ///< SPL at the ear under the helmet, before plugs.
    hearing::ThirdOctaveSpectrum noise;     ///< The same of the noise, with its trim.
    hearing::Audibility music;
    hearing::SpeechIntelligibility speech; ///< Of spoken word with the programme's dB(A).
    double powerRatio = 1.0;           ///< What music.overallGainDb costs, re the power used now.
    hearing::ExposureRequest exposure; ///< One hour at these levels.
    hearing::ExposureReport dose;
};

/** Third octaves at the head of a programme through a candidate, before helmet and plugs are
    counted twice: everything that does not depend on the speed but for its equaliser. candidate: one
    that buildScene() takes; of speaker groups that it refuses nothing is heard. */
[[nodiscard]] hearing::ThirdOctaveSpectrum
candidateGainDb(const CandidateRequest& candidate, ride::Helmet helmet, double equaliserSpeedKmh);

/** Works out what remains. programmeDbfs: third octaves of what is played, by AES17; pink noise at
    referenceProgrammeDbfs stands for loud music. gainDb: of candidateGainDb(). level: of the
    candidate in its scene. levels: of levelsOf(), whose gains and trims count. */
[[nodiscard]] RoadAudibility assessRoad(const hearing::ThirdOctaveSpectrum& programmeDbfs,
                                        const hearing::ThirdOctaveSpectrum& gainDb,
                                        const ProgrammeLevel& level, const AuditionLevels& levels,
                                        const SceneRide& sceneRide,
                                        const AuditionEngine::Parameters& parameters,
                                        const hearing::AudibilityGoal& goal = {});

} // namespace saddletone::audition
