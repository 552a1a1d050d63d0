#include "Core/Job/JobOpening.h"

#include "Core/Files/TemporaryName.h"

#include <utility>

namespace saddletone::job {

dsp::Result<OpenedJob> openJob(const std::filesystem::path& folder)
{
    // Asked first, so that no other process saves between reading and locking; a folder that is no
    // job is left without a lock's file.
    if (auto job = loadJob(folder); !job)
        return job.unexpected();
    OpenedJob opened;
    auto lock = JobLock::take(folder);
    if (lock)
        opened.lock = *std::move(lock);
    else
        opened.readOnlyReason = lock.error().message;
    auto job = loadJob(folder);
    if (!job)
        return job.unexpected();
    opened.job = *std::move(job);
    if (opened.lock) {
        constexpr int numLevelsBelow = 8;
        opened.swept = files::sweepTemporaries(folder, numLevelsBelow);
        opened.cutOffTakes = measure::listCutOffTakes(folder / takesFolderName);
    }
    return opened;
}

} // namespace saddletone::job
