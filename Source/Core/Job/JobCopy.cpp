#include "Core/Job/JobCopy.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AtomicFolder.h"
#include "Core/Files/InnerPath.h"
#include "Core/Job/Job.h"
#include "Core/Job/TransferTracker.h"

#include <fstream>
#include <system_error>

namespace saddletone::job {

namespace {

dsp::Result<bool> copyFile(const JobFile& source, const std::filesystem::path& target,
                           TransferTracker& tracker)
{
    std::ifstream stream(source.file, std::ios::binary);
    const auto cannotRead = [&] {
        return dsp::fail(dsp::ErrorCode::unreadable,
                         "cannot read '" + source.file.string() + "'; nothing was copied");
    };
    if (!stream)
        return cannotRead();
    std::error_code unknown;
    const auto changedAt = std::filesystem::last_write_time(source.file, unknown);
    return transferFile(
        [&](std::span<char> buffer) -> dsp::Result<std::size_t> {
            stream.read(buffer.data(), static_cast<std::streamsize>(buffer.size()));
            if (stream.bad())
                return cannotRead();
            return static_cast<std::size_t>(stream.gcount());
        },
        target, changedAt, source.name, tracker);
}

} // namespace

dsp::Result<Transferred> copyJob(const std::filesystem::path& folder,
                                 const std::filesystem::path& newFolder, const TransferHooks& hooks)
{
    const auto job = loadJob(folder);
    if (!job)
        return job.unexpected();
    if (files::liesBelow(folder, newFolder))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "'" + newFolder.string() + "' lies in the job '" + folder.string()
                             + "', which cannot hold a copy of itself; choose a place outside");
    const auto listed = listJobFiles(folder);
    if (!listed)
        return listed.unexpected();
    auto made = files::AtomicFolder::open(newFolder);
    if (!made)
        return made.unexpected();

    Transferred done;
    for (const JobFile& file : *listed)
        done.numBytes += file.numBytes;
    TransferTracker tracker(hooks, done.numBytes);
    for (const JobFile& file : *listed) {
        const auto copied = copyFile(file, made->temporaryPath() / file.name, tracker);
        if (!copied)
            return copied.unexpected();
        if (!*copied)
            return Transferred {.isCancelled = true};
        ++done.numFiles;
    }
    if (const auto unchanged = checkUnchanged(*job); !unchanged)
        return unchanged.unexpected();
    if (const auto committed = made->commit(); !committed)
        return committed.unexpected();
    done.problems = checkTransferred(*job, newFolder);
    return done;
}

} // namespace saddletone::job
