#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"

#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::job {

/** A job of a library. */
struct LibraryJob {
    Job job;
    std::string changedOn; ///< Day of job.json's last change, ISO 8601.
};

/** The jobs below a folder, by folder; those that cannot be read are named in problems. */
struct Library {
    std::vector<LibraryJob> jobs;
    std::vector<std::string> problems;
};

/** Whether a folder holds a job, sound or not. */
[[nodiscard]] bool isJobFolder(const std::filesystem::path& folder);

/** Looks for jobs in a folder and eight levels of folders below; not in jobs, in hidden folders or
    through links. Fails if the folder cannot be read or holds no job at all. */
[[nodiscard]] dsp::Result<Library> listLibrary(const std::filesystem::path& folder);

/** "measured on another bike: A tourer, job 'First try', 2026-05-01". */
[[nodiscard]] std::string otherBikeWords(const OtherBike& other);

/** What is put behind the name of whatever rests on a state of another bike. */
inline constexpr const char* anotherBikeMark = " (another bike)";

/** Copies a state of another job into this one and makes it a candidate. Job, bike and the day of
    the state's last change stand in job.json and in the state's remarks, the mark in the candidate's
    name; of a state that the other job has from a third, what that was. name: of the candidate;
    empty: the state's. Fails if the other job has no such state, is this one, or if there are
    audition::maxCandidates already. */
[[nodiscard]] dsp::Result<AddedState> addFromOtherJob(Job& job, const Job& other,
                                                      const std::string& stateId,
                                                      const std::string& name = {});

} // namespace saddletone::job
