#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"

#include <cstddef>
#include <string>
#include <vector>

namespace saddletone::job {

/** A state that was taken out of a job, and what went with it. */
struct TakenOutState {
    /** A candidate that rests on the state, and where it stood. */
    struct Candidate {
        std::size_t index = 0;
        JobCandidate candidate;

        bool operator==(const Candidate&) const = default;
    };

    std::size_t index = 0; ///< Where the state stood.
    JobState state;
    std::vector<Candidate> candidates; ///< By index.

    bool operator==(const TakenOutState&) const = default;
};

/** Takes a state out of a job, with every candidate that rests on it; their files stay in the folder,
    and job.json as it is until the job is saved. Refused: there is no such state. */
[[nodiscard]] dsp::Result<TakenOutState> takeOutState(Job& job, const std::string& stateId);

/** Puts a state back with its candidates, where they stood as far as there is a place; one that was
    proposed is so only where no other is now. Refused, with the job as it was: its id is taken, its
    file has gone, or there are more candidates than can be heard side by side. */
[[nodiscard]] dsp::Result<void> putBackState(Job& job, const TakenOutState& takenOut);

} // namespace saddletone::job
