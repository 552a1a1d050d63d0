#include "Core/Job/TransferTracker.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Platform/Platform.h"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <memory>
#include <system_error>

namespace saddletone::job {

namespace {

struct CloseFile {
    void operator()(std::FILE* file) const noexcept { std::fclose(file); }
};

dsp::Unexpected cannotWrite(const std::string& name, const std::string& why)
{
    return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot write '" + name + "': " + why
                                                      + "; nothing was made, make room on the disk "
                                                        "or choose another place");
}

} // namespace

TransferTracker::TransferTracker(const TransferHooks& transferHooks, std::uint64_t bytesTotal)
    : hooks(transferHooks), progress {"", 0, bytesTotal}
{
}

bool TransferTracker::isCancelled()
{
    cancelled = cancelled || (hooks.isCancelled && hooks.isCancelled());
    return cancelled;
}

bool TransferTracker::advance(const std::string& file, std::uint64_t numBytes)
{
    progress.file = file;
    progress.bytesDone += numBytes;
    // A file that grew since it was listed does not bring more than all.
    progress.bytesTotal = std::max(progress.bytesTotal, progress.bytesDone);
    if (hooks.onProgress)
        hooks.onProgress(progress);
    return !isCancelled();
}

void TransferTracker::showProportion(double done)
{
    progress.bytesDone = static_cast<std::uint64_t>(std::clamp(done, 0.0, 1.0)
                                                    * static_cast<double>(progress.bytesTotal));
    if (hooks.onProgress)
        hooks.onProgress(progress);
}

dsp::Result<bool> transferFile(const ReadBytes& read, const std::filesystem::path& file,
                               std::filesystem::file_time_type changedAt, const std::string& name,
                               TransferTracker& tracker)
{
    std::error_code reason;
    std::filesystem::create_directories(file.parent_path(), reason);
    if (reason)
        return cannotWrite(name, reason.message());
    // New only: names that the disk takes for the same do not replace each other.
    errno = 0;
    std::unique_ptr<std::FILE, CloseFile> stream(std::fopen(file.string().c_str(), "wbx"));
    if (stream == nullptr)
        return cannotWrite(name, std::generic_category().message(errno));
    constexpr std::size_t pieceBytes = 1U << 18U;
    std::vector<char> piece(pieceBytes);
    if (!tracker.advance(name, 0))
        return false;
    for (;;) {
        const auto numBytes = read(piece);
        if (!numBytes)
            return numBytes.unexpected();
        if (*numBytes == 0)
            break;
        errno = 0;
        if (std::fwrite(piece.data(), 1, *numBytes, stream.get()) != *numBytes)
            return cannotWrite(name, std::generic_category().message(errno));
        if (!tracker.advance(name, *numBytes))
            return false;
    }
    errno = 0;
    if (std::fclose(stream.release()) != 0 || !platform::flushToDisk(file))
        return cannotWrite(name, std::generic_category().message(errno));
    // Without it the job is whole all the same.
    std::filesystem::last_write_time(file, changedAt, reason);
    return true;
}

dsp::Result<void> checkUnchanged(const Job& job)
{
    const auto checksum = files::fileChecksum(job.folder / jobFileName);
    if ((checksum ? *checksum : std::string()) != job.storedChecksum)
        return dsp::fail(dsp::ErrorCode::notTrustworthy,
                         "the job '" + job.folder.string()
                             + "' was changed meanwhile, so nothing was made; try again");
    return {};
}

std::vector<std::string> checkTransferred(const Job& job, const std::filesystem::path& folder)
{
    std::vector<std::string> problems = job.warnings;
    Job moved = job;
    moved.folder = folder;
    const auto more = checkJob(moved);
    problems.insert(problems.end(), more.begin(), more.end());
    return problems;
}

} // namespace saddletone::job
