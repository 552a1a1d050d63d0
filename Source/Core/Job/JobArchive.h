#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/JobFiles.h"

#include <cstdint>
#include <filesystem>

namespace saddletone::job {

/** Most that an archive may hold, so that a small file cannot fill the disk. */
struct UnpackLimits {
    std::size_t maxFiles = 20'000;
    std::uint64_t maxFileBytes = 4ULL << 30U; ///< Of one file, unpacked: what a WAV file can have.
    std::uint64_t maxTotalBytes = 32ULL << 30U;
};

/** Packs every file of a job (see listJobFiles()) into a new ZIP file, in a folder with the name of
    the job's. The file is written beside its place and gets its name once it is on the disk.
    Refused: a file that exists, a place in the job, a folder that is no job, what listJobFiles()
    refuses, more than unpackJob() takes, a job.json that changes meanwhile. */
[[nodiscard]] dsp::Result<Transferred> archiveJob(const std::filesystem::path& folder,
                                                  const std::filesystem::path& zipFile,
                                                  const TransferHooks& hooks = {});

/** Unpacks an archive to a new folder, which then is the job, whole or not at all. An archive holds
    job.json at its top or in one folder that everything else is in, too. Refused: a folder that
    exists; no or several job.json to choose from, or one that is damaged; a file that is cut off or
    whose checksum is wrong; names that are absolute, hold '..', a backslash or a drive, that recur
    or lie outside the job; links, devices; passwords; more than the limits or than the disk has room
    for. */
[[nodiscard]] dsp::Result<Transferred> unpackJob(const std::filesystem::path& zipFile,
                                                 const std::filesystem::path& folder,
                                                 const TransferHooks& hooks = {},
                                                 const UnpackLimits& limits = {});

} // namespace saddletone::job
