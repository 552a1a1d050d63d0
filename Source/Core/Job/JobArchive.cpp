#include "Core/Job/JobArchive.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AtomicFolder.h"
#include "Core/Files/InnerPath.h"
#include "Core/Files/TemporaryName.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobLock.h"
#include "Core/Job/TransferTracker.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <memory>
#include <set>
#include <system_error>

#include <zip.h>

namespace saddletone::job {

namespace {

struct DiscardArchive {
    void operator()(zip_t* archive) const noexcept { zip_discard(archive); }
};
using Archive = std::unique_ptr<zip_t, DiscardArchive>;

struct CloseEntry {
    void operator()(zip_file_t* entry) const noexcept { zip_fclose(entry); }
};
using OpenEntry = std::unique_ptr<zip_file_t, CloseEntry>;

std::string sizeText(std::uint64_t numBytes)
{
    constexpr std::uint64_t mebibyte = 1ULL << 20U;
    return numBytes < 10 * mebibyte ? std::to_string(numBytes) + " bytes"
                                    : std::to_string(numBytes / mebibyte) + " MiB";
}

/** The library's words for an error code of zip_open(). */
std::string openingWords(int code)
{
    zip_error_t error;
    zip_error_init_with_code(&error, code);
    std::string words = zip_error_strerror(&error);
    zip_error_fini(&error);
    return words;
}

/** Name of the folder in the archive: the job's. */
std::string topFolderName(const std::filesystem::path& folder)
{
    std::error_code reason;
    const std::string name = std::filesystem::canonical(folder, reason).filename().string();
    return files::checkInnerPath(name) ? name : "job";
}

dsp::Result<void> checkTotals(const std::string& what, std::size_t numFiles,
                              std::uint64_t totalBytes, std::uint64_t largestBytes,
                              const UnpackLimits& limits)
{
    const auto tooMuch = [&](const std::string& has, const std::string& most) {
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "'" + what + "' " + has + "; an archive may have at most " + most);
    };
    if (numFiles > limits.maxFiles)
        return tooMuch("has " + std::to_string(numFiles) + " files",
                       std::to_string(limits.maxFiles));
    if (largestBytes > limits.maxFileBytes)
        return tooMuch("has a file of " + sizeText(largestBytes),
                       sizeText(limits.maxFileBytes) + " a file");
    if (totalBytes > limits.maxTotalBytes)
        return tooMuch("has " + sizeText(totalBytes) + " of files", sizeText(limits.maxTotalBytes));
    return {};
}

/** Adds a file to an archive; its bytes are read when the archive is closed. */
dsp::Result<void> addFile(zip_t* archive, const JobFile& file, const std::string& name)
{
    const auto failed = [&] {
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "cannot put '" + file.name
                             + "' into an archive: " + zip_strerror(archive));
    };
    constexpr zip_int64_t whole = -1;
    zip_source_t* const source = zip_source_file(archive, file.file.string().c_str(), 0, whole);
    if (source == nullptr)
        return failed();
    const zip_int64_t index = zip_file_add(archive, name.c_str(), source, ZIP_FL_ENC_UTF_8);
    if (index < 0) {
        zip_source_free(source);
        return failed();
    }
    constexpr std::array packed {".flac", ".mp3", ".ogg"};
    if (std::ranges::find(packed, std::filesystem::path(file.name).extension().string())
            != packed.end()
        && zip_set_file_compression(archive, static_cast<zip_uint64_t>(index), ZIP_CM_STORE, 0)
               != 0)
        return failed();
    return {};
}

void showPacking(zip_t*, double done, void* tracker)
{
    static_cast<TransferTracker*>(tracker)->showProportion(done);
}

int isPackingCancelled(zip_t*, void* tracker)
{
    return static_cast<TransferTracker*>(tracker)->isCancelled() ? 1 : 0;
}

} // namespace

dsp::Result<Transferred> archiveJob(const std::filesystem::path& folder,
                                    const std::filesystem::path& zipFile,
                                    const TransferHooks& hooks)
{
    const auto job = loadJob(folder);
    if (!job)
        return job.unexpected();
    if (!job->warnings.empty())
        return dsp::fail(dsp::ErrorCode::malformed,
                         job->warnings.front() + " Save the job first, then archive it.");
    std::error_code reason;
    if (std::filesystem::exists(std::filesystem::symlink_status(zipFile, reason)))
        return dsp::fail(dsp::ErrorCode::alreadyExists,
                         "'" + zipFile.string()
                             + "' exists already, and no archive is overwritten; give another "
                               "name");
    if (files::liesBelow(folder, zipFile))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "'" + zipFile.string() + "' lies in the job '" + folder.string()
                             + "', which would then hold its own archive; choose a place outside");
    const auto listed = listJobFiles(folder);
    if (!listed)
        return listed.unexpected();
    Transferred done;
    std::uint64_t largestBytes = 0;
    for (const JobFile& file : *listed) {
        done.numBytes += file.numBytes;
        largestBytes = std::max(largestBytes, file.numBytes);
        if (const auto fits = files::checkInnerPath(file.name); !fits)
            return dsp::fail(fits.error().code,
                             fits.error().message + "; rename it, then archive the job");
    }
    done.numFiles = listed->size();
    if (const auto fits =
            checkTotals(folder.string(), done.numFiles, done.numBytes, largestBytes, {});
        !fits)
        return fits.unexpected();

    const auto above = zipFile.parent_path();
    files::sweepTemporaries(above.empty() ? "." : above);
    auto made = files::AtomicFile::open(zipFile);
    if (!made)
        return made.unexpected();
    int code = 0;
    Archive archive(
        zip_open(made->temporaryPath().string().c_str(), ZIP_CREATE | ZIP_TRUNCATE, &code));
    if (archive == nullptr)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot write '" + zipFile.string() + "': " + openingWords(code));
    const std::string top = topFolderName(folder) + "/";
    for (const JobFile& file : *listed)
        if (const auto added = addFile(archive.get(), file, top + file.name); !added)
            return added.unexpected();
    TransferTracker tracker(hooks, done.numBytes);
    constexpr double shownStep = 0.01;
    zip_register_progress_callback_with_state(archive.get(), shownStep, showPacking, nullptr,
                                              &tracker);
    zip_register_cancel_callback_with_state(archive.get(), isPackingCancelled, nullptr, &tracker);
    if (zip_close(archive.get()) != 0) {
        if (tracker.isCancelled())
            return Transferred {.isCancelled = true};
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot write '" + zipFile.string() + "': " + zip_strerror(archive.get())
                             + "; check that the disk is not full and that nobody changes the job "
                               "meanwhile");
    }
    static_cast<void>(archive.release()); // zip_close() has freed it.
    if (const auto unchanged = checkUnchanged(*job); !unchanged)
        return unchanged.unexpected();
    if (tracker.isCancelled())
        return Transferred {.isCancelled = true};
    if (const auto committed = made->commit(); !committed)
        return committed.unexpected();
    done.problems = checkTransferred(*job, folder);
    return done;
}

namespace {

/** A file of an archive. */
struct PackedFile {
    zip_uint64_t index = 0;
    std::string name; ///< In the archive; in the job once the folder in front is cut off.
    std::uint64_t numBytes = 0;
    std::filesystem::file_time_type changedAt {};
};

/** Unpacks one archive; messages name it. */
class Unpacking {
public:
    Unpacking(const std::filesystem::path& zipFile, const UnpackLimits& unpackLimits)
        : source(zipFile.string()), limits(unpackLimits)
    {
    }

    [[nodiscard]] dsp::Result<void> open()
    {
        int code = 0;
        archive.reset(zip_open(source.c_str(), ZIP_RDONLY | ZIP_CHECKCONS, &code));
        if (archive == nullptr && code == ZIP_ER_EXISTS)
            return dsp::fail(dsp::ErrorCode::malformed,
                             "'" + source
                                 + "' holds a file twice, so nobody knows which one is "
                                   "meant; it was not made by this program");
        if (archive == nullptr)
            return dsp::fail(code == ZIP_ER_NOENT ? dsp::ErrorCode::notFound
                                                  : dsp::ErrorCode::unreadable,
                             "'" + source + "' cannot be opened as a ZIP archive: "
                                 + openingWords(code) + "; it may be cut off or damaged");
        return {};
    }

    /** Looks at every entry before anything is written. */
    [[nodiscard]] dsp::Result<std::vector<PackedFile>> list() const
    {
        const zip_int64_t numEntries = zip_get_num_entries(archive.get(), 0);
        // Folders count as files here: their names cost room too.
        if (const auto fits =
                checkTotals(source, static_cast<std::size_t>(numEntries), 0, 0, limits);
            !fits)
            return fits.unexpected();
        std::vector<PackedFile> listed;
        std::vector<std::string> folders;
        for (zip_uint64_t index = 0; index < static_cast<zip_uint64_t>(numEntries); ++index) {
            auto entry = look(index);
            if (!entry)
                return entry.unexpected();
            if (entry->name.ends_with('/'))
                folders.push_back(entry->name);
            else
                listed.push_back(*std::move(entry));
        }
        const auto top = topFolder(listed);
        if (!top)
            return top.unexpected();
        for (const std::string& folder : folders)
            if (!folder.starts_with(*top))
                return refuse(folder, "lies outside the job");
        std::set<std::string> names;
        std::uint64_t totalBytes = 0;
        std::uint64_t largestBytes = 0;
        std::vector<PackedFile> wanted;
        for (PackedFile& file : listed) {
            if (!file.name.starts_with(*top))
                return refuse(file.name, "lies outside the job");
            if (!names.insert(file.name).second)
                return refuse(file.name, "is in the archive twice");
            const std::string fileName = std::filesystem::path(file.name).filename().string();
            file.name.erase(0, top->size());
            totalBytes += file.numBytes;
            largestBytes = std::max(largestBytes, file.numBytes);
            if (fileName != lockFileName && !files::temporaryOwner(fileName))
                wanted.push_back(std::move(file));
        }
        if (const auto fits = checkTotals(source, wanted.size(), totalBytes, largestBytes, limits);
            !fits)
            return fits.unexpected();
        return wanted;
    }

    /** Reads a file's bytes; a wrong checksum or length is found at its end. */
    [[nodiscard]] dsp::Result<bool> unpack(const PackedFile& file,
                                           const std::filesystem::path& target,
                                           TransferTracker& tracker) const
    {
        const OpenEntry entry(zip_fopen_index(archive.get(), file.index, 0));
        if (entry == nullptr)
            return refuse(file.name, std::string("cannot be read: ") + zip_strerror(archive.get()));
        std::uint64_t numRead = 0;
        return transferFile(
            [&](std::span<char> buffer) -> dsp::Result<std::size_t> {
                const zip_int64_t count = zip_fread(entry.get(), buffer.data(), buffer.size());
                if (count < 0)
                    return refuse(file.name,
                                  std::string("is damaged: ") + zip_file_strerror(entry.get()));
                numRead += static_cast<std::uint64_t>(count);
                if (numRead > file.numBytes || (count == 0 && numRead != file.numBytes))
                    return refuse(file.name, "is not as long as the archive says");
                return static_cast<std::size_t>(count);
            },
            target, file.changedAt, file.name, tracker);
    }

private:
    [[nodiscard]] dsp::Unexpected refuse(const std::string& name, const std::string& why,
                                         dsp::ErrorCode code = dsp::ErrorCode::malformed) const
    {
        return dsp::fail(code,
                         "'" + source + "': '" + name + "' " + why + "; nothing was unpacked");
    }

    /** An entry whose name and kind may be unpacked. */
    [[nodiscard]] dsp::Result<PackedFile> look(zip_uint64_t index) const
    {
        zip_stat_t stat;
        zip_stat_init(&stat);
        constexpr zip_uint64_t needed =
            ZIP_STAT_NAME | ZIP_STAT_SIZE | ZIP_STAT_COMP_METHOD | ZIP_STAT_ENCRYPTION_METHOD;
        if (zip_stat_index(archive.get(), index, 0, &stat) != 0 || (stat.valid & needed) != needed)
            return dsp::fail(dsp::ErrorCode::unreadable,
                             "'" + source + "' is damaged: entry " + std::to_string(index + 1)
                                 + " cannot be read; nothing was unpacked");
        PackedFile file {index, stat.name, stat.size};
        if (const auto inside = files::checkInnerPath(file.name); !inside)
            return dsp::fail(inside.error().code, "'" + source + "': " + inside.error().message
                                                      + "; nothing was unpacked");
        // One spelling for each place.
        if (std::filesystem::path(file.name).lexically_normal().generic_string() != file.name)
            return refuse(file.name, "is spelled in a roundabout way", dsp::ErrorCode::outOfRange);
        zip_uint8_t system = 0;
        zip_uint32_t attributes = 0;
        if (zip_file_get_external_attributes(archive.get(), index, 0, &system, &attributes) == 0
            && system == ZIP_OPSYS_UNIX) {
            // The upper half are the mode bits of POSIX.
            constexpr unsigned kindMask = 0170000;
            constexpr unsigned folder = 0040000;
            constexpr unsigned regular = 0100000;
            const unsigned kind = (attributes >> 16U) & kindMask;
            if (kind != 0 && kind != folder && kind != regular)
                return refuse(file.name, "is a link, a device or a pipe, no file");
        }
        if (stat.encryption_method != ZIP_EM_NONE)
            return refuse(file.name, "has a password; pack it without one",
                          dsp::ErrorCode::unsupported);
        if (stat.comp_method != ZIP_CM_STORE && stat.comp_method != ZIP_CM_DEFLATE)
            return refuse(file.name, "is packed in a way that is not known; use store or deflate",
                          dsp::ErrorCode::unsupported);
        if ((stat.valid & ZIP_STAT_MTIME) != 0)
            file.changedAt = std::chrono::file_clock::from_sys(
                std::chrono::system_clock::from_time_t(stat.mtime));
        return file;
    }

    /** What stands in front of job.json: nothing, or one folder and '/'. */
    [[nodiscard]] dsp::Result<std::string> topFolder(const std::vector<PackedFile>& listed) const
    {
        std::set<std::string> tops;
        for (const PackedFile& file : listed) {
            const auto slash = file.name.find('/');
            if (file.name == jobFileName)
                return std::string();
            if (slash != std::string::npos && file.name.substr(slash + 1) == jobFileName)
                tops.insert(file.name.substr(0, slash + 1));
        }
        if (tops.empty())
            return dsp::fail(dsp::ErrorCode::notFound,
                             "'" + source
                                 + "' holds no job: it has no job.json at its top or in "
                                   "one folder");
        if (tops.size() > 1)
            return dsp::fail(dsp::ErrorCode::malformed,
                             "'" + source + "' holds " + std::to_string(tops.size())
                                 + " jobs; give each an archive of its own");
        return *tops.begin();
    }

    std::string source;
    UnpackLimits limits;
    Archive archive;
};

} // namespace

dsp::Result<Transferred> unpackJob(const std::filesystem::path& zipFile,
                                   const std::filesystem::path& folder, const TransferHooks& hooks,
                                   const UnpackLimits& limits)
{
    Unpacking unpacking(zipFile, limits);
    if (const auto opened = unpacking.open(); !opened)
        return opened.unexpected();
    const auto listed = unpacking.list();
    if (!listed)
        return listed.unexpected();
    auto made = files::AtomicFolder::open(folder);
    if (!made)
        return made.unexpected();

    Transferred done;
    for (const PackedFile& file : *listed)
        done.numBytes += file.numBytes;
    std::error_code unknown;
    const auto room = std::filesystem::space(made->temporaryPath(), unknown);
    if (!unknown && room.available < done.numBytes)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "'" + zipFile.string() + "' needs " + sizeText(done.numBytes)
                             + ", but the disk of '" + folder.string() + "' has room for "
                             + sizeText(room.available) + "; make room or choose another disk");
    TransferTracker tracker(hooks, done.numBytes);
    for (const PackedFile& file : *listed) {
        const auto unpacked = unpacking.unpack(file, made->temporaryPath() / file.name, tracker);
        if (!unpacked)
            return unpacked.unexpected();
        if (!*unpacked)
            return Transferred {.isCancelled = true};
        ++done.numFiles;
    }
    const auto text = files::readTextFile(made->temporaryPath() / jobFileName);
    if (!text)
        return text.unexpected();
    const auto job = jobFromText(*text, zipFile.string() + ": " + std::string(jobFileName), folder);
    if (!job)
        return dsp::fail(job.error().code, job.error().message + "; nothing was unpacked");
    if (const auto committed = made->commit(); !committed)
        return committed.unexpected();
    done.problems = checkTransferred(*job, folder);
    return done;
}

} // namespace saddletone::job
