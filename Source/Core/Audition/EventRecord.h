#pragma once

#include "Core/Audition/AuditionLevels.h"

#include <cstddef>
#include <string>
#include <vector>

namespace saddletone::audition {

/** How a candidate did at an event. */
struct EventCandidate {
    std::string name;
    std::size_t timesPreferred = 0;

    bool operator==(const EventCandidate&) const = default;
};

/** What an event has come to: counts, and nothing of who listened. */
struct EventRecord {
    std::string startedAt; ///< ISO 8601; tells one event of a job from another.
    std::string changedAt; ///< ISO 8601, of the last count.
    LevelMatch match = LevelMatch::asOnTheBike;
    std::vector<EventCandidate> candidates; ///< By their numbers on the plates.
    std::size_t numListeners = 0;

    /** Listeners who said which they liked best; the others gave no answer. */
    [[nodiscard]] std::size_t numAnswers() const noexcept
    {
        std::size_t count = 0;
        for (const EventCandidate& candidate : candidates)
            count += candidate.timesPreferred;
        return count;
    }

    bool operator==(const EventRecord&) const = default;
};

} // namespace saddletone::audition
