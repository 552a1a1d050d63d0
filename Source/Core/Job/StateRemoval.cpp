#include "Core/Job/StateRemoval.h"

#include "Core/Job/JobFiles.h"

#include <algorithm>
#include <filesystem>
#include <system_error>

namespace saddletone::job {

namespace {

bool restsOn(const JobCandidate& candidate, const std::string& stateId)
{
    const auto ids = candidate.allStateIds();
    return std::ranges::find(ids, stateId) != ids.end();
}

template <typename Item>
void insertAt(std::vector<Item>& items, std::size_t index, Item item)
{
    items.insert(items.begin() + static_cast<std::ptrdiff_t>(std::min(index, items.size())),
                 std::move(item));
}

dsp::Result<void> checkCanPutBack(const Job& job, const TakenOutState& takenOut)
{
    const std::string& id = takenOut.state.id;
    if (std::ranges::find(job.states, id, &JobState::id) != job.states.end())
        return dsp::fail(dsp::ErrorCode::alreadyExists,
                         "the job has another state '" + id + "' by now");
    const auto file = resolveInside(job.folder, takenOut.state.file);
    if (!file)
        return file.unexpected();
    std::error_code reason;
    if (!std::filesystem::exists(*file, reason))
        return dsp::fail(dsp::ErrorCode::notFound, "'" + file->string()
                                                       + "', the measurement of state '" + id
                                                       + "', is no longer there");
    if (job.candidates.size() + takenOut.candidates.size() > audition::maxCandidates)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the job has " + std::to_string(job.candidates.size())
                             + " candidates by now; with those of state '" + id
                             + "' they would be more than can be heard side by side");
    return {};
}

} // namespace

dsp::Result<TakenOutState> takeOutState(Job& job, const std::string& stateId)
{
    const auto state = std::ranges::find(job.states, stateId, &JobState::id);
    if (state == job.states.end())
        return dsp::fail(dsp::ErrorCode::notFound,
                         "the job in '" + job.folder.string() + "' has no state '" + stateId + "'");
    TakenOutState takenOut;
    takenOut.index = static_cast<std::size_t>(state - job.states.begin());
    takenOut.state = *state;
    for (std::size_t index = 0; index < job.candidates.size(); ++index)
        if (restsOn(job.candidates[index], stateId))
            takenOut.candidates.push_back({index, job.candidates[index]});
    job.states.erase(state);
    std::erase_if(job.candidates, [&](const JobCandidate& each) { return restsOn(each, stateId); });
    return takenOut;
}

dsp::Result<void> putBackState(Job& job, const TakenOutState& takenOut)
{
    if (const auto possible = checkCanPutBack(job, takenOut); !possible)
        return possible;
    const bool hasProposal =
        std::ranges::any_of(job.candidates, [](const auto& each) { return each.isProposed; });
    insertAt(job.states, takenOut.index, takenOut.state);
    for (const TakenOutState::Candidate& each : takenOut.candidates) {
        JobCandidate candidate = each.candidate;
        candidate.isProposed = candidate.isProposed && !hasProposal;
        insertAt(job.candidates, each.index, std::move(candidate));
    }
    return {};
}

} // namespace saddletone::job
