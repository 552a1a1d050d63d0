#include "Core/Platform/Platform.h"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdint>
#include <new>
#include <utility>

#if defined(_WIN32)
#define NOMINMAX
#include <fcntl.h>
#include <io.h>
#include <process.h>
#include <share.h>
#include <sys/stat.h>
#include <windows.h>
#else
#include <csignal>
#include <fcntl.h>
#if defined(__linux__)
#include <sys/mman.h>
#endif
#include <sys/file.h>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>
#if defined(__APPLE__)
#include <cstdint>
#include <mach-o/dyld.h>
#include <string>
#endif
#endif

namespace saddletone::platform {

SystemLock::SystemLock(SystemLock&& other) noexcept : handle(std::exchange(other.handle, none)) {}

SystemLock& SystemLock::operator=(SystemLock&& other) noexcept
{
    std::swap(handle, other.handle);
    return *this;
}

SystemLock::~SystemLock()
{
    release();
}

#if defined(_WIN32)

long processId() noexcept
{
    return _getpid();
}

bool isProcessRunning(long process) noexcept
{
    const HANDLE opened =
        OpenProcess(PROCESS_QUERY_LIMITED_INFORMATION, FALSE, static_cast<DWORD>(process));
    if (opened == nullptr)
        return GetLastError() == ERROR_ACCESS_DENIED;
    DWORD exitCode = 0;
    const bool runs = GetExitCodeProcess(opened, &exitCode) != 0 && exitCode == STILL_ACTIVE;
    CloseHandle(opened);
    return runs;
}

std::string hostName()
{
    std::array<char, MAX_COMPUTERNAME_LENGTH + 1> name {};
    auto size = static_cast<DWORD>(name.size());
    return GetComputerNameA(name.data(), &size) != 0 ? std::string(name.data()) : std::string();
}

bool isTerminal(std::FILE* stream) noexcept
{
    return _isatty(_fileno(stream)) != 0;
}

bool flushToDisk(const std::filesystem::path& file) noexcept
{
    const int handle = _wopen(file.c_str(), _O_RDWR | _O_BINARY);
    if (handle < 0)
        return false;
    const bool done = _commit(handle) == 0;
    return _close(handle) == 0 && done;
}

void flushFolderToDisk(const std::filesystem::path&) noexcept {}

std::filesystem::path executableFile()
{
    std::array<wchar_t, 32768> name {};
    const DWORD length = GetModuleFileNameW(nullptr, name.data(), static_cast<DWORD>(name.size()));
    return length < name.size() ? std::filesystem::path(name.data(), name.data() + length)
                                : std::filesystem::path();
}

// Opening for writing while denying that to others is the lock.
LockOutcome SystemLock::lock(const std::filesystem::path& file, int openFlags) noexcept
{
    release();
    const errno_t failed =
        _wsopen_s(&handle, file.c_str(), openFlags | _O_RDWR | _O_BINARY | _O_NOINHERIT, _SH_DENYWR,
                  _S_IREAD | _S_IWRITE);
    if (failed == 0)
        return LockOutcome::locked;
    handle = none;
    return failed == EACCES && _waccess(file.c_str(), 6) == 0 ? LockOutcome::heldByOther
                                                              : LockOutcome::cannotOpen;
}

LockOutcome SystemLock::lock(const std::filesystem::path& file) noexcept
{
    return lock(file, 0);
}

LockOutcome SystemLock::makeAndLock(const std::filesystem::path& file) noexcept
{
    return lock(file, _O_CREAT);
}

void SystemLock::waitForFolder(const std::filesystem::path&) noexcept {}

void SystemLock::release() noexcept
{
    if (handle != none)
        _close(std::exchange(handle, none));
}

bool SystemLock::isStill(const std::filesystem::path&) const noexcept
{
    return isHeld(); // An open file cannot be removed.
}

bool SystemLock::write(std::string_view text) const noexcept
{
    return _chsize(handle, 0) == 0 && _lseek(handle, 0, SEEK_SET) == 0
           && _write(handle, text.data(), static_cast<unsigned>(text.size()))
                  == static_cast<int>(text.size());
}

#else

long processId() noexcept
{
    return static_cast<long>(getpid());
}

bool isProcessRunning(long process) noexcept
{
    return ::kill(static_cast<pid_t>(process), 0) == 0 || errno == EPERM;
}

std::string hostName()
{
    std::array<char, 256> name {};
    return ::gethostname(name.data(), name.size() - 1) == 0 ? std::string(name.data())
                                                            : std::string();
}

bool isTerminal(std::FILE* stream) noexcept
{
    return isatty(fileno(stream)) != 0;
}

bool flushToDisk(const std::filesystem::path& file) noexcept
{
    const int handle = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
    if (handle < 0)
        return false;
    const bool done = ::fsync(handle) == 0;
    return ::close(handle) == 0 && done;
}

void flushFolderToDisk(const std::filesystem::path& folder) noexcept
{
    const char* const name = folder.empty() ? "." : folder.c_str();
    const int handle = ::open(name, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (handle < 0)
        return;
    [[maybe_unused]] const int flushed = ::fsync(handle);
    ::close(handle);
}

std::filesystem::path executableFile()
{
    std::error_code reason;
#if defined(__APPLE__)
    std::uint32_t size = 0;
    _NSGetExecutablePath(nullptr, &size);
    std::string name(size, '\0');
    if (_NSGetExecutablePath(name.data(), &size) != 0)
        return {};
    auto file = std::filesystem::canonical(name.c_str(), reason);
#else
    auto file = std::filesystem::read_symlink("/proc/self/exe", reason);
#endif
    return reason ? std::filesystem::path() : file;
}

LockOutcome SystemLock::lock(const std::filesystem::path& file, int openFlags) noexcept
{
    release();
    // Not through a link: what it leads to is nobody's lock.
    handle = ::open(file.c_str(), openFlags | O_RDWR | O_NOFOLLOW | O_CLOEXEC, 0666);
    if (handle < 0) {
        handle = none;
        return LockOutcome::cannotOpen;
    }
    if (::flock(handle, LOCK_EX | LOCK_NB) == 0)
        return LockOutcome::locked;
    const bool isHeldByOther = errno == EWOULDBLOCK || errno == EINTR;
    release();
    return isHeldByOther ? LockOutcome::heldByOther : LockOutcome::unsupported;
}

LockOutcome SystemLock::lock(const std::filesystem::path& file) noexcept
{
    return lock(file, 0);
}

LockOutcome SystemLock::makeAndLock(const std::filesystem::path& file) noexcept
{
    return lock(file, O_CREAT);
}

void SystemLock::waitForFolder(const std::filesystem::path& folder) noexcept
{
    release();
    const char* const name = folder.empty() ? "." : folder.c_str();
    handle = ::open(name, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (handle < 0) {
        handle = none;
        return;
    }
    int failed = 0;
    do
        failed = ::flock(handle, LOCK_EX);
    while (failed != 0 && errno == EINTR);
    if (failed != 0)
        release();
}

void SystemLock::release() noexcept
{
    if (handle != none)
        ::close(std::exchange(handle, none));
}

bool SystemLock::isStill(const std::filesystem::path& file) const noexcept
{
    struct stat here {};
    struct stat there {};
    return isHeld() && ::fstat(handle, &here) == 0 && ::lstat(file.c_str(), &there) == 0
           && here.st_dev == there.st_dev && here.st_ino == there.st_ino;
}

bool SystemLock::write(std::string_view text) const noexcept
{
    return ::ftruncate(handle, 0) == 0
           && ::pwrite(handle, text.data(), text.size(), 0) == static_cast<ssize_t>(text.size());
}

#endif

namespace {

constexpr std::align_val_t vectorAlignment {64};

} // namespace

#if defined(__linux__)

namespace {

constexpr std::size_t largePageBytes = std::size_t {1} << 21U; // of x86-64 and of most ARM systems
// From half a page on: what a page holds too much costs less than five hundred page faults.
constexpr std::size_t leastMappedBytes = largePageBytes / 2;

std::size_t roundedUp(std::size_t numBytes)
{
    return (numBytes + largePageBytes - 1) / largePageBytes * largePageBytes;
}

} // namespace

void* allocateZeroed(std::size_t numBytes)
{
    if (numBytes < leastMappedBytes) {
        void* const memory = ::operator new(std::max<std::size_t>(1, numBytes), vectorAlignment);
        std::fill_n(static_cast<std::byte*>(memory), numBytes, std::byte {});
        return memory;
    }
    // A page more than needed, so that a whole number of pages lies at the right place in it; what
    // is left over at either end goes back.
    const std::size_t length = roundedUp(numBytes);
    void* const mapped = ::mmap(nullptr, length + largePageBytes, PROT_READ | PROT_WRITE,
                                MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (mapped == MAP_FAILED)
        throw std::bad_alloc();
    auto* const first = static_cast<std::byte*>(mapped);
    const auto address = reinterpret_cast<std::uintptr_t>(mapped);
    const std::size_t before = roundedUp(address) - address;
    if (before > 0)
        ::munmap(first, before);
    ::munmap(first + before + length, largePageBytes - before);
    ::madvise(first + before, length, MADV_HUGEPAGE);
    return first + before;
}

void releaseMemory(void* memory, std::size_t numBytes) noexcept
{
    if (memory == nullptr)
        return;
    if (numBytes < leastMappedBytes)
        ::operator delete(memory, vectorAlignment);
    else
        ::munmap(memory, roundedUp(numBytes));
}

void preferLargePages(void* memory, std::size_t numBytes) noexcept
{
    // Whole large pages only; the kernel wants its own pages' boundaries at least.
    const auto address = reinterpret_cast<std::uintptr_t>(memory);
    const std::size_t before = roundedUp(address) - address;
    if (numBytes < before + largePageBytes)
        return;
    ::madvise(static_cast<std::byte*>(memory) + before,
              (numBytes - before) / largePageBytes * largePageBytes, MADV_HUGEPAGE);
}

#else

void* allocateZeroed(std::size_t numBytes)
{
    void* const memory = ::operator new(std::max<std::size_t>(1, numBytes), vectorAlignment);
    std::fill_n(static_cast<std::byte*>(memory), numBytes, std::byte {});
    return memory;
}

void releaseMemory(void* memory, std::size_t) noexcept
{
    ::operator delete(memory, vectorAlignment);
}

void preferLargePages(void*, std::size_t) noexcept {}

#endif

} // namespace saddletone::platform
