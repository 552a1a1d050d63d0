#include "Support/SmallJob.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

namespace saddletone::test {

job::Job makeSmallJob(const std::filesystem::path& folder)
{
    measure::Response response;
    response.name = "Parked";
    response.impulse.assign(2000, 0.0F);
    response.impulse[100] = 1.0F;
    response.arrivalFrame = 100;
    job::Job job;
    job.folder = folder;
    job.title = "Small job";
    job.shop = "Made-up shop";
    job.bike = "Made-up bike";
    REQUIRE(job::addState(job, response, "parked", "As it is"));
    writeBytes(folder / "note.txt", std::string(300'000, 'n'));
    job.title = "Small job, second version";
    REQUIRE(job::saveJob(job));
    return job;
}

void letOthersRead(const std::filesystem::path& folder)
{
    using std::filesystem::perms;
    constexpr auto readable = perms::others_read | perms::others_exec;
    std::filesystem::permissions(folder, readable, std::filesystem::perm_options::add);
    for (const auto& entry : std::filesystem::recursive_directory_iterator(folder))
        std::filesystem::permissions(entry.path(), readable, std::filesystem::perm_options::add);
}

std::map<std::string, std::string> filesBelow(const std::filesystem::path& folder)
{
    std::map<std::string, std::string> files;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(folder))
        if (!entry.is_directory())
            files[entry.path().lexically_relative(folder).generic_string()] = bytesOf(entry.path());
    return files;
}

} // namespace saddletone::test
