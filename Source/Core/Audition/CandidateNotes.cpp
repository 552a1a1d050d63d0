#include "Core/Audition/CandidateNotes.h"

namespace saddletone::audition {

std::vector<std::string> candidateNotes(const CandidateRequest& candidate)
{
    std::vector<std::string> notes;
    if (candidate.groups != nullptr)
        notes.push_back(candidate.groups->sum == measure::GroupSum::timed
                            ? "Put together from " + candidate.groups->words()
                                  + ", measured one by one in one recording"
                            : "An estimate: " + candidate.groups->words()
                                  + ", measured one by one and added in power; how they cancel or "
                                    "strengthen each other is not in it");
    if (candidate.isOverdriven())
        notes.emplace_back("Played with the distortion of the speakers as measured; levels and "
                           "curves are those without it");
    return notes;
}

} // namespace saddletone::audition
