#include "Core/Job/JobLibrary.h"

#include "Core/Job/JobReport.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <chrono>
#include <filesystem>
#include <string>

using namespace saddletone;
using Catch::Contains;

namespace {

/** The first of May 2026, noon by UTC. */
void setDate(const std::filesystem::path& file)
{
    using namespace std::chrono;
    const sys_time<nanoseconds> noon = sys_days(2026y / May / 1) + hours(12);
    std::filesystem::last_write_time(file, file_clock::from_sys(noon));
}

} // namespace

TEST_CASE("All jobs below a folder are listed with title, bike, date and states",
          "[core][job][library]")
{
    const test::TemporaryFolder folder;
    auto first = test::makeSmallJob(folder / "2026/first");
    first.title = "First";
    first.bike = "A tourer";
    REQUIRE(job::saveJob(first));
    setDate(first.folder / "job.json");
    auto second = test::makeSmallJob(folder / "2025/deep/down/second");
    second.title = "Second";
    REQUIRE(job::saveJob(second));
    test::makeSmallJob(first.folder / "inner"); // a job in a job is that job's own matter
    test::makeSmallJob(folder / ".hidden/job");
    std::filesystem::create_directory_symlink(folder / "2026", folder / "again");
    test::makeSmallJob(folder / "broken");
    test::writeBytes(folder / "broken/job.json", "{");
    test::writeBytes(folder / "broken/job.previous.json", "{");
    test::writeBytes(folder / "readme.txt", "no job");

    const auto library = job::listLibrary(folder.path());
    REQUIRE(library);
    REQUIRE(library->jobs.size() == 2);
    CHECK(library->jobs[0].job.title == "Second");
    CHECK(library->jobs[0].changedOn == measure::todayUtc());
    CHECK(library->jobs[1].job.title == "First");
    CHECK(library->jobs[1].job.bike == "A tourer");
    CHECK(library->jobs[1].changedOn == "2026-05-01");
    REQUIRE(library->jobs[1].job.states.size() == 1);
    CHECK(library->jobs[1].job.states[0].id == "parked");
    REQUIRE(library->problems.size() == 1);
    CHECK_THAT(library->problems[0], Contains("broken"));

    std::filesystem::create_directory(folder / "empty");
    CHECK_THAT(job::listLibrary(folder / "empty").error().message, Contains("holds none"));
    CHECK_THAT(job::listLibrary(folder / "nowhere").error().message, Contains("no such folder"));
}

TEST_CASE("A state of another job is a candidate that says so everywhere", "[core][job][library]")
{
    const test::TemporaryFolder folder;
    auto other = test::makeSmallJob(folder / "other");
    other.title = "Last year's";
    other.bike = "A \"big\" tourer";
    REQUIRE(job::saveJob(other));
    setDate(other.folder / "states/parked.json");
    auto mine = test::makeSmallJob(folder / "mine");
    const auto theirs = test::filesBelow(other.folder);

    const auto added = job::addFromOtherJob(mine, other, "parked");
    REQUIRE(added);
    CHECK(added->id == "parked-2");
    CHECK(added->isCandidate);
    CHECK(test::filesBelow(other.folder) == theirs);

    const auto loaded = job::loadJob(mine.folder);
    REQUIRE(loaded);
    CHECK(job::checkJob(*loaded).empty());
    REQUIRE(loaded->states.size() == 2);
    CHECK_FALSE(loaded->states[0].measuredElsewhere);
    const job::OtherBike origin {"Last year's", "A \"big\" tourer", "parked", "2026-05-01"};
    REQUIRE(loaded->states[1].measuredElsewhere == origin);
    CHECK(job::otherBikeWords(origin)
          == "measured on another bike: A \"big\" tourer, job 'Last year's', 2026-05-01");
    CHECK(loaded->candidates[1].name == "Parked (another bike)");
    const auto document = nlohmann::json::parse(test::bytesOf(mine.folder / "job.json"));
    CHECK(document["states"][1]["measuredElsewhere"]
          == nlohmann::json {{"jobTitle", "Last year's"},
                             {"bike", "A \"big\" tourer"},
                             {"stateId", "parked"},
                             {"date", "2026-05-01"}});
    CHECK_FALSE(document["states"][0].contains("measuredElsewhere"));
    const auto request = job::loadSceneRequest(*loaded);
    REQUIRE(request);
    CHECK(request->candidates[1].name == "Parked (another bike)");
    REQUIRE_FALSE(request->candidates[1].response.remarks.empty());
    CHECK(request->candidates[1].response.remarks[0]
          == "Measured on another bike: A \"big\" tourer, job 'Last year's', 2026-05-01.");
    CHECK(request->candidates[0].response.remarks.empty());

    // From there it goes on to a third job as what it was at first.
    auto third = test::makeSmallJob(folder / "third");
    REQUIRE(job::addFromOtherJob(third, *loaded, "parked-2", "Theirs"));
    CHECK(third.states[1].measuredElsewhere == origin);
    CHECK(third.candidates[1].name == "Theirs (another bike)");
    CHECK(job::loadSceneRequest(third)->candidates[1].response.remarks.size() == 1);
}

TEST_CASE("A report names the other bike", "[core][job][library]")
{
    const test::TemporaryFolder folder;
    auto other = test::makeSmallJob(folder / "other");
    auto mine = test::makeSmallJob(folder / "mine");
    other.bike = "Somebody's scooter";
    REQUIRE(job::saveJob(other));
    REQUIRE(job::addFromOtherJob(mine, other, "parked"));
    job::JobReportOptions options;
    options.dateText = "2026-05-02";
    const auto written = job::writeJobReport(mine, folder / "report.html", options);
    if (!written)
        FAIL(written.error().message);
    const std::string html = test::bytesOf(folder / "report.html");
    CHECK_THAT(html, Contains("Parked (another bike)"));
    CHECK_THAT(test::bytesOf(written->appendix), Contains("Measured on another bike: Somebody"));
}

TEST_CASE("What of another job cannot be added is refused with what can", "[core][job][library]")
{
    const test::TemporaryFolder folder;
    const auto other = test::makeSmallJob(folder / "other");
    auto mine = test::makeSmallJob(folder / "mine");
    const auto before = test::filesBelow(folder.path());
    CHECK_THAT(job::addFromOtherJob(mine, other, "gone").error().message,
               Contains("'gone'") && Contains("parked"));
    CHECK_THAT(job::addFromOtherJob(mine, mine, "parked").error().message,
               Contains("this job itself"));
    std::filesystem::remove(other.folder / "states/parked.impulse.wav");
    CHECK_FALSE(job::addFromOtherJob(mine, other, "parked").has_value());
    CHECK(mine.states.size() == 1);
    const auto full = test::makeSmallJob(folder / "full");
    mine.candidates.resize(audition::maxCandidates, mine.candidates.front());
    CHECK_THAT(job::addFromOtherJob(mine, full, "parked").error().message,
               Contains("8 candidates already"));
    CHECK(test::bytesOf(mine.folder / "job.json") == before.at("mine/job.json"));
}
