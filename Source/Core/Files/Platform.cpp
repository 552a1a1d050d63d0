#include "Core/Files/Platform.h"

#if defined(_WIN32)
#include <fcntl.h>
#include <io.h>
#include <process.h>
#else
#include <fcntl.h>
#include <unistd.h>
#endif

namespace saddletone::files {

#if defined(_WIN32)

long processId() noexcept
{
    return _getpid();
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

#else

long processId() noexcept
{
    return static_cast<long>(getpid());
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

#endif

} // namespace saddletone::files
