#pragma once

#include "Core/Audition/AuditionScene.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/Result.h"
#include "Core/Seat/CandidateDifference.h"

#include <array>
#include <string>
#include <vector>

namespace saddletone::audition {

/** What a bike plays now, as every difference from it needs it. Immutable once made. */
struct BikeNow {
    std::string name;
    /** Its kernels on the left and the right at the bare head, and what they are made from. */
    std::array<std::vector<float>, numEars> taps;
    measure::Response response;
    tuning::Tuning tuning;
    ProgrammeLevel level; ///< At the volume at which it was measured.
};

/** A scene for listening to a bike over its own speakers: what is sent to them is the programme
    through the difference of each candidate from what the bike plays now (request.nowOnBike, which
    must not be null). For a parked bike and a bare head: no noise of the ride, no helmet, no
    headphones, no placement, no overdrive, as all of them are there by themselves. Refused besides
    what buildScene() refuses: a side of which nothing is heard. */
[[nodiscard]] dsp::Result<AuditionScene>
buildOnThisBike(const SceneRequest& request, const PartitionLayout& layout, double sampleRate);

/** One candidate of such a scene. What the bike plays now is a single tap of 1, so that the
    programme passes it unchanged. */
[[nodiscard]] dsp::Result<SceneCandidate>
buildOnThisBikeCandidate(const CandidateRequest& candidate, const SceneReference& reference,
                         const BikeNow& now, const PartitionLayout& layout, double sampleRate);

/** Levels of a candidate of such a scene: the programme leaves the program with the output level as
    its only gain, as how loud it gets is up to the bike's volume control. With equal loudness the
    quietest candidate keeps its level and the others come down to it, so that no boost passes the
    limit of the difference. outputLevelDb: -60 to 0. */
[[nodiscard]] AuditionLevels levelsOnThisBike(const AuditionScene& scene,
                                              const SceneCandidate& candidate, LevelMatch match,
                                              double outputLevelDb) noexcept;

} // namespace saddletone::audition
