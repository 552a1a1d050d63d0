#include "Core/Job/JobLock.h"

#include "Core/Job/Job.h"
#include "Core/Job/JobOpening.h"
#include "Support/KilledProcess.h"
#include "Support/RefusedWrites.h"
#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <chrono>
#include <filesystem>
#include <string>
#include <thread>

using namespace saddletone;
using Catch::Contains;
using dsp::ErrorCode;

namespace {

/** Another process that holds a job's lock until it is killed. */
class Holder {
public:
    explicit Holder(const std::filesystem::path& folder)
        : child([this, folder] {
              const auto lock = job::JobLock::take(folder);
              held.set(lock ? 1 : 2);
              for (;;)
                  std::this_thread::sleep_for(std::chrono::seconds(1));
          })
    {
        REQUIRE(test::waitFor(held));
        REQUIRE(held.get() == 1);
    }

    test::SharedNumber held;
    test::ChildProcess child;
};

} // namespace

TEST_CASE("One process at a time may write to a job, and others are told which",
          "[core][job][lock]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "job");
    const auto before = test::filesBelow(job.folder);
    Holder other(job.folder);
    const std::string process = "process " + std::to_string(other.child.id());

    const auto refused = job::JobLock::take(job.folder);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().code == ErrorCode::alreadyExists);
    CHECK_THAT(refused.error().message, Contains(process) && Contains("closed there"));
    const auto writer = job::otherWriter(job.folder);
    REQUIRE(writer);
    CHECK(writer->processId == other.child.id());
    CHECK(writer->hostName == platform::hostName());

    // It can be read, but neither saved nor filled.
    const auto opened = job::openJob(job.folder);
    REQUIRE(opened);
    CHECK_FALSE(opened->lock);
    CHECK_THAT(opened->readOnlyReason, Contains(process));
    CHECK(opened->job.title == job.title);
    job.title = "Mine";
    const auto saved = job::saveJob(job);
    REQUIRE_FALSE(saved);
    CHECK(saved.error().code == ErrorCode::cannotWrite);
    CHECK_THAT(saved.error().message, Contains(process) && Contains("close it there"));
    CHECK_FALSE(job::saveJob(job, job::SaveRule::overwriteChanged).has_value());
    CHECK_FALSE(job::addState(job, {}, "new", "new").has_value());
    CHECK_FALSE(job::storeTuning(job, nlohmann::json::object(), "new").has_value());
    auto now = test::filesBelow(job.folder);
    now.erase(std::string(job::lockFileName));
    CHECK(now == before);
}

TEST_CASE("The lock of a process that has died is taken over", "[core][job][lock]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "job");
    Holder other(job.folder);
    REQUIRE(other.child.kill());
    CHECK(std::filesystem::exists(job.folder / job::lockFileName));
    CHECK_FALSE(job::otherWriter(job.folder));
    job.title = "Mine";
    REQUIRE(job::saveJob(job));
    {
        const auto lock = job::JobLock::take(job.folder);
        REQUIRE(lock);
        CHECK_FALSE(job::otherWriter(job.folder));
    }
    CHECK_FALSE(std::filesystem::exists(job.folder / job::lockFileName));
}

TEST_CASE("A lock names the process and the machine and nothing else", "[core][job][lock]")
{
    const test::TemporaryFolder folder;
    const auto lock = job::JobLock::take(folder.path());
    REQUIRE(lock);
    const auto json = nlohmann::json::parse(test::bytesOf(folder / job::lockFileName));
    CHECK(json
          == nlohmann::json {{"processId", platform::processId()},
                             {"hostName", platform::hostName()}});
}

TEST_CASE("Within a process a lock may be taken again, and the first one's end ends it",
          "[core][job][lock]")
{
    const test::TemporaryFolder folder;
    auto first = job::JobLock::take(folder.path());
    REQUIRE(first);
    {
        const auto second = job::JobLock::take(folder.path());
        REQUIRE(second);
    }
    CHECK(std::filesystem::exists(folder / job::lockFileName));
    {
        const job::JobLock moved = *std::move(first);
    }
    CHECK_FALSE(std::filesystem::exists(folder / job::lockFileName));
}

TEST_CASE("What stands in a lock's file is not believed where nobody holds it", "[core][job][lock]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "job");
    // The parent of this process runs.
    for (const std::string& text :
         {std::string(R"({"processId": 1, "hostName": "elsewhere"})"), std::string("no JSON"),
          std::string(), std::string(9000, '{')}) {
        test::writeBytes(job.folder / job::lockFileName, text);
        CHECK_FALSE(job::otherWriter(job.folder));
        CHECK(job::saveJob(job).has_value());
        CHECK(job::JobLock::take(job.folder).has_value());
    }
    // A link in its place is not followed.
    test::writeBytes(folder / "victim", "kept");
    std::filesystem::create_symlink(folder / "victim", job.folder / job::lockFileName);
    CHECK_FALSE(job::JobLock::take(job.folder).has_value());
    CHECK(test::bytesOf(folder / "victim") == "kept");
}

TEST_CASE("A job in a read-only folder opens to be read", "[core][job][lock]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "job");
    const auto before = test::filesBelow(job.folder);
    using std::filesystem::perms;
    test::letOthersRead(folder.path());
    const auto readable = perms::owner_read | perms::owner_exec | perms::group_read
                          | perms::group_exec | perms::others_read | perms::others_exec;
    std::filesystem::permissions(job.folder, readable);
    std::filesystem::permissions(job.folder / "states", readable);
    {
        const test::Unprivileged user;
        const auto opened = job::openJob(job.folder);
        REQUIRE(opened);
        CHECK_FALSE(opened->lock);
        CHECK_THAT(opened->readOnlyReason, Contains("cannot be written"));
        CHECK(job::checkJob(opened->job).empty());
        job.title = "new";
        const auto saved = job::saveJob(job);
        REQUIRE_FALSE(saved);
        CHECK_THAT(saved.error().message, Contains("read-only"));
        CHECK_FALSE(job::addState(job, {}, "new", "new").has_value());
    }
    std::filesystem::permissions(job.folder, perms::owner_all, std::filesystem::perm_options::add);
    std::filesystem::permissions(job.folder / "states", perms::owner_all,
                                 std::filesystem::perm_options::add);
    CHECK(test::filesBelow(job.folder) == before);
}
