#include "Core/Files/Platform.h"

#if defined(_WIN32)
#include <array>
#include <fcntl.h>
#include <io.h>
#include <process.h>
#include <windows.h>
#else
#include <fcntl.h>
#include <system_error>
#include <unistd.h>
#if defined(__APPLE__)
#include <cstdint>
#include <mach-o/dyld.h>
#include <string>
#endif
#endif

namespace saddletone::files {

#if defined(_WIN32)

long processId() noexcept
{
    return _getpid();
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

#else

long processId() noexcept
{
    return static_cast<long>(getpid());
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

#endif

} // namespace saddletone::files
