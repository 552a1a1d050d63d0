#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/JobFiles.h"

#include <filesystem>

namespace saddletone::job {

/** Copies a job's folder to a new one, whole or not at all: the copy is built beside its place and
    gets its name once it is on the disk. Refused: a place that exists or lies in the job, a folder
    that is no job, what listJobFiles() refuses, a job.json that changes meanwhile. */
[[nodiscard]] dsp::Result<Transferred> copyJob(const std::filesystem::path& folder,
                                               const std::filesystem::path& newFolder,
                                               const TransferHooks& hooks = {});

} // namespace saddletone::job
