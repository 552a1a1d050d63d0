#include "Plugin/TuningMerge.h"

#include <algorithm>
#include <set>

namespace saddletone::plugin {

namespace {

/** The candidates that were known, those too that had gone. */
std::vector<GoneCandidate> knownOf(const StoredDocument& stored)
{
    std::vector<GoneCandidate> known;
    const auto& candidates = stored.document.candidates;
    for (std::size_t index = 0; index < candidates.size(); ++index)
        known.push_back({stored.job.candidates[index], {candidates[index], index}});
    known.insert(known.end(), stored.gone.begin(), stored.gone.end());
    return known;
}

/** Whether a job still has the states that a candidate rests on. */
bool hasStates(const job::Job& job, const DraftCandidate& candidate)
{
    const auto isThere = [&](const std::string& id) {
        return std::ranges::find(job.states, id, &job::JobState::id) != job.states.end();
    };
    return isThere(candidate.stateId) && std::ranges::all_of(candidate.groupStateIds, isThere);
}

bool isSameMeasurement(const measure::Response& first, const measure::Response& second)
{
    return first.state == second.state && first.sampleRate == second.sampleRate
           && first.impulse == second.impulse && first.arrivalFrame == second.arrivalFrame
           && first.bands == second.bands && first.hasCalibration == second.hasCalibration
           && first.calibration == second.calibration;
}

/** Whether what a job says of a candidate is what it said before. */
bool isAlike(const DraftCandidate& before, const DraftCandidate& read)
{
    // A tuning without elements has no file, and so no name of its own.
    return (before.elements.empty() || before.tuningName == read.tuningName)
           && before.elements == read.elements
           && isSameMeasurement(*before.response, *read.response);
}

} // namespace

TuningMerge::TuningMerge(const StoredDocument& stored, StoredDocument read) : now(std::move(read))
{
    const std::vector<GoneCandidate> known = knownOf(stored);
    std::set<std::uint64_t> found;
    for (std::size_t index = 0; index < now.document.candidates.size(); ++index) {
        DraftCandidate& candidate = now.document.candidates[index];
        const auto before = std::ranges::find_if(known, [&](const GoneCandidate& each) {
            return isSameCandidate(each.entry, now.job.candidates[index])
                   && !found.contains(each.absent.candidate.id);
        });
        if (before == known.end()) {
            added.push_back(candidate);
            continue;
        }
        ofStatesAlone = ofStatesAlone && isAlike(before->absent.candidate, candidate);
        found.insert(before->absent.candidate.id);
        now.tuningFiles.erase(candidate.id);
        candidate = before->absent.candidate;
        now.tuningFiles[candidate.id] = before->entry.tuningFile;
    }
    for (const GoneCandidate& each : known) {
        if (found.contains(each.absent.candidate.id))
            continue;
        if (hasStates(now.job, each.absent.candidate)) {
            ofStatesAlone = false;
            continue;
        }
        now.gone.push_back(each);
        now.document.absent.push_back(each.absent);
    }
}

TuningDocument TuningMerge::follow(TuningDocument version) const
{
    std::vector<DraftCandidate> candidates = std::move(version.candidates);
    std::vector<AbsentCandidate> absent;
    for (AbsentCandidate& each : version.absent)
        if (hasStates(now.job, each.candidate) && candidates.size() < audition::maxCandidates)
            candidates.insert(
                candidates.begin()
                    + static_cast<std::ptrdiff_t>(std::min(each.place, candidates.size())),
                std::move(each.candidate));
        else
            absent.push_back(std::move(each));
    TuningDocument followed;
    for (std::size_t place = 0; place < candidates.size(); ++place)
        if (hasStates(now.job, candidates[place]))
            followed.candidates.push_back(std::move(candidates[place]));
        else
            absent.push_back({std::move(candidates[place]), place});
    // In this order they return to where they stood.
    std::ranges::stable_sort(absent, {}, &AbsentCandidate::place);
    followed.absent = std::move(absent);
    for (const DraftCandidate& candidate : added)
        if (followed.candidates.size() < audition::maxCandidates)
            followed.candidates.push_back(candidate);
    if (followed.candidates.empty())
        followed.candidates = now.document.candidates;
    return followed;
}

} // namespace saddletone::plugin
