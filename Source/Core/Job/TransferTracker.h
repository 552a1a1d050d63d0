#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobFiles.h"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <span>
#include <string>
#include <vector>

namespace saddletone::job {

/** Counts what a transfer has done and tells its hooks. */
class TransferTracker {
public:
    TransferTracker(const TransferHooks& hooks, std::uint64_t bytesTotal);

    /** False once the transfer is to end. */
    [[nodiscard]] bool advance(const std::string& file, std::uint64_t numBytes);
    /** The same where only the whole can be told, 0 to 1. */
    void showProportion(double done);
    [[nodiscard]] bool isCancelled();

private:
    const TransferHooks& hooks;
    TransferProgress progress;
    bool cancelled = false;
};

/** Puts bytes into a buffer and says how many; 0 at the end. */
using ReadBytes = std::function<dsp::Result<std::size_t>(std::span<char> buffer)>;

/** Writes a new file of a folder that is being built, forces it to the disk and gives it a time of
    last change. name: what progress and messages call it. False: the transfer was cancelled. */
[[nodiscard]] dsp::Result<bool> transferFile(const ReadBytes& read,
                                             const std::filesystem::path& file,
                                             std::filesystem::file_time_type changedAt,
                                             const std::string& name, TransferTracker& tracker);

/** Fails if job.json is not what the job was read from: then the files that were transferred may be
    of two versions. */
[[nodiscard]] dsp::Result<void> checkUnchanged(const Job& job);

/** What was wrong with a job when it was read, and what is wrong with it where it is now. */
[[nodiscard]] std::vector<std::string> checkTransferred(const Job& job,
                                                        const std::filesystem::path& folder);

} // namespace saddletone::job
