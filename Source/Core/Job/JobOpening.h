#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobLock.h"
#include "Core/Measure/CutOffTakes.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::job {

/** Where the takes of a job lie, relative to its folder. */
inline constexpr const char* takesFolderName = "takes";

/** A job opened to work on it, for as long as the object lives. */
struct OpenedJob {
    Job job;
    std::optional<JobLock> lock;              ///< Nothing: it may be read only.
    std::string readOnlyReason;               ///< Why, and what to do; empty with a lock.
    std::vector<std::filesystem::path> swept; ///< What a crash had left half-written; removed.
    /** To be measured or refused; see measure::listCutOffTakes(). Empty without a lock: they are
        for whoever may write. */
    std::vector<measure::CutOffTake> cutOffTakes;
};

/** Reads a job, takes the right to write to it where that is free, and then tidies up after a crash.
    A damaged job.json is read from its previous version, see Job::warnings, and put right by
    the next saveJob(). Fails if it cannot even be read. */
[[nodiscard]] dsp::Result<OpenedJob> openJob(const std::filesystem::path& folder);

} // namespace saddletone::job
