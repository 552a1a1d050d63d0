#pragma once

#include "Core/Audition/AuditionLevels.h"
#include "Core/Audition/PartitionedKernel.h"

#include <array>
#include <cstddef>
#include <memory>
#include <string>
#include <vector>

namespace saddletone::audition {

inline constexpr std::size_t maxCandidates = 8;
inline constexpr std::size_t numEars = 2;

/** One candidate, ready to be heard: kernels[output][input], null where nothing passes. */
struct SceneCandidate {
    std::string name;
    std::array<std::array<std::shared_ptr<const PartitionedKernel>, numEars>, numEars> kernels;
    ProgrammeLevel level;
    double matchGainDb = 0.0; ///< Brings the candidate to the loudness of the first.
};

/** Everything of an audition that has to be built off the audio thread. Immutable once it has
    been handed to an engine; its kernels must have been made for that engine's layout. */
struct AuditionScene {
    std::vector<SceneCandidate> candidates; ///< At most maxCandidates.
    ride::Helmet helmet = ride::Helmet::fullFace;
    ride::WindModel wind;
    double pinkDbfsA = -20.0; ///< A-weighted level of the reference programme itself.
};

} // namespace saddletone::audition
