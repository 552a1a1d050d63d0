#include "Core/Files/AtomicFolder.h"

#include "Core/Files/TemporaryName.h"
#include "Core/Platform/Platform.h"

#include <system_error>
#include <utility>

namespace saddletone::files {

namespace {

/** Without the separator that a folder's name may end in. */
std::filesystem::path withoutTrailingSeparator(const std::filesystem::path& folder)
{
    return folder.has_filename() ? folder : folder.parent_path();
}

dsp::Unexpected existsAlready(const std::filesystem::path& target)
{
    return dsp::fail(dsp::ErrorCode::alreadyExists,
                     "'" + target.string()
                         + "' exists already, and nothing is overwritten; give another name");
}

} // namespace

AtomicFolder::AtomicFolder(std::filesystem::path targetPath, std::filesystem::path temporaryPath)
    : target(std::move(targetPath)), temporary(std::move(temporaryPath))
{
}

dsp::Result<AtomicFolder> AtomicFolder::open(const std::filesystem::path& wanted)
{
    const auto target = withoutTrailingSeparator(wanted);
    std::error_code reason;
    if (target.filename().empty() || target.filename() == "." || target.filename() == "..")
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "'" + wanted.string() + "' is no name for a new folder; give one");
    // Of a link that leads nowhere too, which exists() does not see.
    if (std::filesystem::exists(std::filesystem::symlink_status(target, reason)))
        return existsAlready(target);
    const auto above = target.parent_path();
    if (!above.empty()) {
        std::filesystem::create_directories(above, reason);
        if (reason)
            return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot make the folder '"
                                                              + above.string()
                                                              + "': " + reason.message());
    }
    sweepTemporaries(above.empty() ? "." : above);
    auto temporary = temporaryBeside(target);
    std::filesystem::create_directory(temporary, reason);
    if (reason)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot make '" + target.string() + "': " + reason.message()
                             + "; check that the folder above it is not read-only and that the "
                               "disk is not full");
    return AtomicFolder(target, std::move(temporary));
}

AtomicFolder::AtomicFolder(AtomicFolder&& other) noexcept
    : target(std::move(other.target)), temporary(std::exchange(other.temporary, {}))
{
}

AtomicFolder& AtomicFolder::operator=(AtomicFolder&& other) noexcept
{
    std::swap(target, other.target);
    std::swap(temporary, other.temporary);
    return *this;
}

AtomicFolder::~AtomicFolder()
{
    if (!temporary.empty()) {
        std::error_code ignored;
        std::filesystem::remove_all(temporary, ignored);
    }
}

dsp::Result<void> AtomicFolder::commit()
{
    std::error_code reason;
    for (std::filesystem::recursive_directory_iterator entry(temporary, reason), end;
         !reason && entry != end; entry.increment(reason))
        if (entry->is_directory(reason))
            platform::flushFolderToDisk(entry->path());
    if (reason)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot make '" + target.string() + "': " + reason.message());
    platform::flushFolderToDisk(temporary);
    // An empty folder that appeared since open() would be replaced; one that holds something not.
    std::filesystem::rename(temporary, target, reason);
    if (reason) {
        std::error_code ignored;
        if (std::filesystem::exists(std::filesystem::symlink_status(target, ignored)))
            return existsAlready(target);
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot put '" + target.string() + "' in place: " + reason.message());
    }
    temporary.clear();
    platform::flushFolderToDisk(target.parent_path());
    return {};
}

} // namespace saddletone::files
