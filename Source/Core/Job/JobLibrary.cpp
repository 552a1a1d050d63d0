#include "Core/Job/JobLibrary.h"

#include "Core/Measure/CalibrationRecord.h"

#include <algorithm>
#include <chrono>
#include <system_error>

namespace saddletone::job {

namespace {

constexpr int numLevelsBelow = 8;

/** Day of a file's last change; empty if the system does not say. */
std::string changedOn(const std::filesystem::path& file)
{
    std::error_code reason;
    const auto changed = std::filesystem::last_write_time(file, reason);
    if (reason)
        return {};
    return measure::isoDate(
        std::chrono::floor<std::chrono::days>(std::chrono::file_clock::to_sys(changed)));
}

void collect(const std::filesystem::path& folder, int numLevels, Library& library)
{
    if (isJobFolder(folder)) {
        if (auto job = loadJob(folder))
            library.jobs.push_back({*std::move(job), changedOn(folder / jobFileName)});
        else
            library.problems.push_back(job.error().message);
        return;
    }
    if (numLevels == 0)
        return;
    std::vector<std::filesystem::path> below;
    std::error_code reason;
    for (std::filesystem::directory_iterator entry(folder, reason), end; !reason && entry != end;
         entry.increment(reason)) {
        std::error_code ignored;
        if (entry->is_directory(ignored) && !entry->is_symlink(ignored)
            && !entry->path().filename().string().starts_with('.'))
            below.push_back(entry->path());
    }
    if (reason)
        library.problems.push_back("cannot look into '" + folder.string()
                                   + "': " + reason.message());
    std::ranges::sort(below);
    for (const auto& inner : below)
        collect(inner, numLevels - 1, library);
}

} // namespace

bool isJobFolder(const std::filesystem::path& folder)
{
    std::error_code reason;
    return std::filesystem::exists(folder / jobFileName, reason)
           || std::filesystem::exists(folder / previousFileName, reason);
}

dsp::Result<Library> listLibrary(const std::filesystem::path& folder)
{
    std::error_code reason;
    if (!std::filesystem::is_directory(folder, reason))
        return dsp::fail(dsp::ErrorCode::notFound,
                         "'" + folder.string()
                             + "' is neither a job nor a folder of jobs: there is no such folder");
    Library library;
    collect(folder, numLevelsBelow, library);
    if (library.jobs.empty() && library.problems.empty())
        return dsp::fail(dsp::ErrorCode::notFound,
                         "'" + folder.string()
                             + "' is no job and holds none: there is no job.json in it or in the "
                               "folders below");
    return library;
}

std::string otherBikeWords(const OtherBike& other)
{
    return "measured on another bike: "
           + (other.bike.empty() ? std::string("not named") : other.bike) + ", job '"
           + other.jobTitle + "'" + (other.date.empty() ? "" : ", " + other.date);
}

dsp::Result<AddedState> addFromOtherJob(Job& job, const Job& other, const std::string& stateId,
                                        const std::string& name)
{
    std::error_code reason;
    if (std::filesystem::equivalent(job.folder, other.folder, reason))
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "'" + other.folder.string()
                             + "' is this job itself, so its states are "
                               "there already");
    const auto found = std::ranges::find(other.states, stateId, &JobState::id);
    if (found == other.states.end()) {
        std::string ids;
        for (const JobState& state : other.states)
            ids += (ids.empty() ? "" : ", ") + state.id;
        return dsp::fail(dsp::ErrorCode::notFound,
                         "the job '" + other.folder.string() + "' has no state '" + stateId + "'; "
                             + (ids.empty() ? "it has none" : "it has " + ids));
    }
    if (job.candidates.size() >= audition::maxCandidates)
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "the job has " + std::to_string(audition::maxCandidates)
                             + " candidates already, as many as can be heard side by side");
    const auto file = resolveInside(other.folder, found->file);
    if (!file)
        return file.unexpected();
    auto response = measure::loadResponse(*file);
    if (!response)
        return response.unexpected();
    const auto origin = measure::loadOrigin(*file);
    if (!origin)
        return origin.unexpected();
    const OtherBike otherBike = found->measuredElsewhere.value_or(
        OtherBike {other.title, other.bike, found->id,
                   origin->measuredOn.empty() ? changedOn(*file) : origin->measuredOn});
    response->invented = response->invented || other.invented;
    if (!found->measuredElsewhere) {
        std::string remark = otherBikeWords(otherBike) + ".";
        remark.front() = 'M';
        response->remarks.insert(response->remarks.begin(), std::move(remark));
    }
    std::string candidateName = name.empty() ? response->name : name;
    if (candidateName.empty())
        candidateName = stateId;
    if (!candidateName.ends_with(anotherBikeMark))
        candidateName += anotherBikeMark;
    return addState(job, *response, stateId, candidateName, {}, *origin, otherBike);
}

} // namespace saddletone::job
