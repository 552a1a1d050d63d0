#pragma once

#include "Core/Audition/SceneBuilder.h"

#include <string>
#include <vector>

namespace saddletone::audition {

/** What neither name nor tuning say of a candidate: that it was put together from speaker groups, and
    how surely, and that its distortion is heard. Phrases without a stop at their end. */
[[nodiscard]] std::vector<std::string> candidateNotes(const CandidateRequest& candidate);

} // namespace saddletone::audition
