#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Platform/Platform.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace saddletone::job {

/** Beside job.json while somebody may write; holds a process number and the machine's name. */
inline constexpr std::string_view lockFileName = ".saddletone.lock";

/** Who may write to a job. */
struct LockHolder {
    long processId = 0;   ///< 0: not known.
    std::string hostName; ///< Empty: not known.

    bool operator==(const LockHolder&) const = default;
};

/** "another Saddletone (process 123 on shop-pc)". */
[[nodiscard]] std::string lockHolderWords(const LockHolder& holder);

/** The right to write to a job's folder, which one process at a time has; others may read. It ends
    with the object or with the process, however that ends: what a crash leaves behind is taken over.
    Advisory: saveJob() asks for it, other programs do not. */
class JobLock {
public:
    /** Within one process it may be taken again. Refused, with who has it: another process has it
        (alreadyExists); the folder cannot be written or its disk has no locks (cannotWrite,
        unsupported): the job can be read, and in the last case saved, without. */
    [[nodiscard]] static dsp::Result<JobLock> take(const std::filesystem::path& folder);

    JobLock(JobLock&&) noexcept = default;
    JobLock& operator=(JobLock&& other) noexcept;
    JobLock(const JobLock&) = delete;
    JobLock& operator=(const JobLock&) = delete;
    ~JobLock();

private:
    JobLock(std::filesystem::path file, platform::SystemLock lock);

    std::filesystem::path file;
    platform::SystemLock lock; ///< Not held where this process had it already.
};

/** Which other process may write to a job; nothing if none or this one may. */
[[nodiscard]] std::optional<LockHolder> otherWriter(const std::filesystem::path& folder);

} // namespace saddletone::job
