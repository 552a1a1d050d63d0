#include "Core/Job/JobCopy.h"

#include "Core/Job/Job.h"
#include "Support/RefusedWrites.h"
#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <filesystem>
#include <string>
#include <vector>

using namespace saddletone;
using Catch::Contains;
using dsp::ErrorCode;

namespace {

/** Fails, says a word, and leaves both the job and the place beside it as they were. */
void checkCopyFails(const test::TemporaryFolder& folder, const std::string& word,
                    const dsp::Result<job::Transferred>& copied,
                    const std::map<std::string, std::string>& before)
{
    REQUIRE_FALSE(copied);
    CHECK_THAT(copied.error().message, Contains(word));
    CHECK(test::filesBelow(folder.path()) == before);
    CHECK_FALSE(std::filesystem::exists(folder / "copy"));
}

} // namespace

TEST_CASE("A copied job is the same job in another folder", "[core][job][copy]")
{
    const test::TemporaryFolder folder;
    const auto job = test::makeSmallJob(folder / "job");
    std::vector<job::TransferProgress> seen;
    job::TransferHooks hooks;
    hooks.onProgress = [&](const job::TransferProgress& progress) { seen.push_back(progress); };
    const auto copied = job::copyJob(job.folder, folder / "deep/copy/", hooks);
    REQUIRE(copied);
    CHECK_FALSE(copied->isCancelled);
    CHECK(copied->problems.empty());
    const auto files = test::filesBelow(job.folder);
    CHECK(test::filesBelow(folder / "deep/copy") == files);
    CHECK(copied->numFiles == files.size());
    const auto loaded = job::loadJob(folder / "deep/copy");
    REQUIRE(loaded);
    CHECK(loaded->title == job.title);
    CHECK(job::checkJob(*loaded).empty());

    // Progress rises to the whole, job.json first.
    std::uint64_t numBytes = 0;
    for (const auto& [name, bytes] : files)
        numBytes += bytes.size();
    CHECK(copied->numBytes == numBytes);
    REQUIRE_FALSE(seen.empty());
    CHECK(seen.front().file == "job.json");
    CHECK(seen.back().bytesDone == numBytes);
    for (std::size_t step = 0; step < seen.size(); ++step) {
        CHECK(seen[step].bytesTotal == numBytes);
        CHECK((step == 0 || seen[step].bytesDone >= seen[step - 1].bytesDone));
    }
}

TEST_CASE("A copy that is cancelled anywhere leaves nothing", "[core][job][copy]")
{
    const test::TemporaryFolder folder;
    const auto job = test::makeSmallJob(folder / "job");
    const auto before = test::filesBelow(folder.path());
    for (int step = 0; step < 5; ++step) {
        job::TransferHooks hooks;
        hooks.isCancelled = [left = step]() mutable { return left-- == 0; };
        const auto copied = job::copyJob(job.folder, folder / "copy", hooks);
        REQUIRE(copied);
        CHECK(copied->isCancelled);
        CHECK(test::filesBelow(folder.path()) == before);
        CHECK_FALSE(std::filesystem::exists(folder / "copy"));
    }
}

TEST_CASE("A copy to a full or a read-only disk leaves nothing", "[core][job][copy]")
{
    const test::TemporaryFolder folder;
    const auto job = test::makeSmallJob(folder / "job");
    const auto before = test::filesBelow(folder.path());
    {
        const test::FileSizeLimit limit(100'000); // The note is larger.
        checkCopyFails(folder, "note.txt", job::copyJob(job.folder, folder / "copy"), before);
    }
    test::letOthersRead(folder.path());
    const auto readOnly = folder / "locked";
    std::filesystem::create_directory(readOnly);
    std::filesystem::permissions(
        readOnly, std::filesystem::perms::owner_read | std::filesystem::perms::owner_exec
                      | std::filesystem::perms::others_read | std::filesystem::perms::others_exec);
    const auto copied = [&] {
        const test::Unprivileged user;
        return job::copyJob(job.folder, readOnly / "copy");
    }();
    checkCopyFails(folder, "read-only", copied, before);
}

TEST_CASE("A job that changes while it is copied is not copied half old and half new",
          "[core][job][copy]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "job");
    job::TransferHooks hooks;
    hooks.onProgress = [&](const job::TransferProgress& progress) {
        if (progress.file == "note.txt" && job.title != "Changed") {
            job.title = "Changed";
            REQUIRE(job::saveJob(job));
        }
    };
    const auto copied = job::copyJob(job.folder, folder / "copy", hooks);
    REQUIRE_FALSE(copied);
    CHECK_THAT(copied.error().message, Contains("changed meanwhile"));
    CHECK_FALSE(std::filesystem::exists(folder / "copy"));
    CHECK(job::loadJob(job.folder)->title == "Changed");
}

TEST_CASE("A job or a target that vanishes while it is copied is told", "[core][job][copy]")
{
    const test::TemporaryFolder folder;
    const auto job = test::makeSmallJob(folder / "stick/job");
    const bool isSource = GENERATE(true, false);
    std::filesystem::create_directory(folder / "target");
    job::TransferHooks hooks;
    hooks.onProgress = [&](const job::TransferProgress& progress) {
        if (progress.file == "note.txt")
            std::filesystem::remove_all(folder / (isSource ? "stick" : "target"));
    };
    const auto copied = job::copyJob(job.folder, folder / "target/copy", hooks);
    REQUIRE_FALSE(copied);
    CHECK_THAT(copied.error().message, Contains(isSource ? "cannot read" : "cannot write"));
    CHECK_FALSE(std::filesystem::exists(folder / "target/copy"));
    if (!isSource)
        CHECK(job::loadJob(job.folder).has_value());
}
