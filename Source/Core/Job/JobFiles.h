#pragma once

#include "Core/Dsp/Result.h"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace saddletone::job {

/** A file in a job's folder. */
struct JobFile {
    std::string name;           ///< Relative to the folder, '/' between folders.
    std::filesystem::path file; ///< Where its bytes are: a link is followed.
    std::uint64_t numBytes = 0;
};

/** Every file of a job's folder and the folders in it, job.json first, the others by name; without
    its lock and without what is half-written. Refused, as they cannot be handed on: links that lead
    out of the folder, nowhere or to a folder, and devices, pipes and sockets. */
[[nodiscard]] dsp::Result<std::vector<JobFile>> listJobFiles(const std::filesystem::path& folder);

/** How far a transfer is. */
struct TransferProgress {
    std::string file; ///< The one at hand, relative to the job's folder; empty where not known.
    std::uint64_t bytesDone = 0;
    std::uint64_t bytesTotal = 0;
};

/** What a transfer calls, on the thread it runs on; either may be empty. */
struct TransferHooks {
    std::function<void(const TransferProgress&)> onProgress {};
    /** Asked at least for every megabyte; true ends the transfer, which then leaves nothing. */
    std::function<bool()> isCancelled {};
};

/** What copyJob(), archiveJob() and unpackJob() did. */
struct Transferred {
    bool isCancelled = false; ///< Nothing was made.
    std::size_t numFiles = 0;
    std::uint64_t numBytes = 0; ///< Of all files, not packed.
    /** What is wrong with the job itself, handed on as it is: one line each, see checkJob(). */
    std::vector<std::string> problems {};
};

} // namespace saddletone::job
