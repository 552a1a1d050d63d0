#include "Core/Job/JobFiles.h"

#include "Core/Files/InnerPath.h"
#include "Core/Files/TemporaryName.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobLock.h"

#include <algorithm>
#include <system_error>
#include <tuple>

namespace saddletone::job {

dsp::Result<std::vector<JobFile>> listJobFiles(const std::filesystem::path& folder)
{
    std::vector<JobFile> listed;
    std::error_code reason;
    const auto refuse = [](const std::filesystem::path& file, const std::string& why) {
        return dsp::fail(dsp::ErrorCode::unsupported, "'" + file.string() + "' " + why);
    };
    std::filesystem::recursive_directory_iterator entry(folder, reason);
    for (const std::filesystem::recursive_directory_iterator end; !reason && entry != end;
         entry.increment(reason)) {
        const auto& path = entry->path();
        const std::string fileName = path.filename().string();
        if (fileName == lockFileName || files::temporaryOwner(fileName)) {
            entry.disable_recursion_pending();
            continue;
        }
        const bool isLink = entry->is_symlink(reason);
        if (!isLink && entry->is_directory(reason))
            continue;
        std::error_code missing;
        if (isLink && (!entry->exists(missing) || !files::liesBelow(folder, path)))
            return refuse(path, "is a link that leads out of the job or nowhere; put the file "
                                "itself there, or remove the link");
        if (isLink && entry->is_directory(missing))
            return refuse(path, "is a link to a folder; put the folder itself there, or remove "
                                "the link");
        if (!entry->is_regular_file(missing))
            return refuse(path, "is a device, a pipe or a socket and no part of a job; remove it");
        const auto numBytes = entry->file_size(reason);
        if (reason)
            break;
        listed.push_back({path.lexically_relative(folder).generic_string(),
                          isLink ? std::filesystem::canonical(path, reason) : path, numBytes});
    }
    if (reason)
        return dsp::fail(dsp::ErrorCode::unreadable, "cannot list the files of the job '"
                                                         + folder.string()
                                                         + "': " + reason.message());
    std::ranges::sort(listed, {}, [](const JobFile& file) {
        return std::tuple(file.name != jobFileName, file.name);
    });
    return listed;
}

} // namespace saddletone::job
