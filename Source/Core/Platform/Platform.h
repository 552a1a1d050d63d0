#pragma once

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <string>
#include <string_view>

namespace saddletone::platform {

// The calls that differ between operating systems; everything else is standard C++.

// Memory of many megabytes that is filled once costs more in page faults than in arithmetic. Where
// the operating system offers large pages (Linux), these functions ask for them; elsewhere they are
// plain memory.

/** Zeroed memory, aligned for vectors; throws std::bad_alloc. To be given to releaseMemory(). */
[[nodiscard]] void* allocateZeroed(std::size_t numBytes);

/** numBytes: as it was allocated with. memory may be null. */
void releaseMemory(void* memory, std::size_t numBytes) noexcept;

/** Asks for large pages in memory that has not been written to yet; small memory is left alone. */
void preferLargePages(void* memory, std::size_t numBytes) noexcept;

/** Number of this process, to tell its temporary files from another's. */
[[nodiscard]] long processId() noexcept;

/** Whether a process of this number runs on this machine, whoever's it is. */
[[nodiscard]] bool isProcessRunning(long process) noexcept;

/** The machine's name in its network; empty if it has none. */
[[nodiscard]] std::string hostName();

/** Whether a stream is shown on a terminal. */
[[nodiscard]] bool isTerminal(std::FILE* stream) noexcept;

/** Forces a file's content to the disk; false if that failed. */
[[nodiscard]] bool flushToDisk(const std::filesystem::path& file) noexcept;

/** The program that runs, with its whole path; empty if the system does not tell. */
[[nodiscard]] std::filesystem::path executableFile();

/** Forces a folder's entries to the disk as far as the system allows. */
void flushFolderToDisk(const std::filesystem::path& folder) noexcept;

/** What came of locking a file. */
enum class LockOutcome {
    locked,
    heldByOther,
    cannotOpen,  ///< The file is not there or may not be written.
    unsupported, ///< The disk (a network share, say) has no locks.
};

/** A lock that one holder at a time has, of all processes and within one; advisory. The system gives
    it up when its process ends, however it does. */
class SystemLock {
public:
    SystemLock() = default;
    SystemLock(SystemLock&& other) noexcept;
    SystemLock& operator=(SystemLock&& other) noexcept;
    SystemLock(const SystemLock&) = delete;
    SystemLock& operator=(const SystemLock&) = delete;
    ~SystemLock(); ///< As release().

    /** Tries to lock a file that exists. */
    [[nodiscard]] LockOutcome lock(const std::filesystem::path& file) noexcept;
    /** Tries to lock a file, which is made if it does not exist. */
    [[nodiscard]] LockOutcome makeAndLock(const std::filesystem::path& file) noexcept;
    /** Waits until nobody else holds the lock of a folder. Without effect where folders have no
        locks. */
    void waitForFolder(const std::filesystem::path& folder) noexcept;
    void release() noexcept;

    [[nodiscard]] bool isHeld() const noexcept { return handle != none; }
    /** Whether the locked file is the one that has this name now: another may have removed it. */
    [[nodiscard]] bool isStill(const std::filesystem::path& file) const noexcept;
    /** Makes this the locked file's content; false if that failed. */
    [[nodiscard]] bool write(std::string_view text) const noexcept;

private:
    [[nodiscard]] LockOutcome lock(const std::filesystem::path& file, int openFlags) noexcept;

    static constexpr int none = -1;
    int handle = none;
};

} // namespace saddletone::platform
