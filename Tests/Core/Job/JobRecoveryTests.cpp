#include "Core/Files/AtomicFile.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobArchive.h"
#include "Core/Job/JobOpening.h"
#include "Core/Measure/TakeRecord.h"
#include "Core/Measure/TakeWriter.h"
#include "Support/RefusedWrites.h"
#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <filesystem>
#include <string>

#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Contains;
using dsp::ErrorCode;

TEST_CASE("A damaged job opens from its previous version and says so", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    const auto made = test::makeSmallJob(folder.path());
    const std::string whole = test::bytesOf(folder / "job.json");
    const std::string previous = test::bytesOf(folder / "job.previous.json");
    // Cut off, empty, zeros as a disk leaves them after a power cut, no object.
    const std::string damaged = GENERATE_COPY(whole.substr(0, whole.size() / 2), std::string(),
                                              std::string(whole.size(), '\0'), std::string("[]"));
    test::writeBytes(folder / "job.json", damaged);
    auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    CHECK(loaded->title == "Small job");
    REQUIRE(loaded->warnings.size() == 1);
    CHECK_THAT(loaded->warnings[0],
               Contains("job.json") && Contains("damaged") && Contains("job.previous.json"));
    CHECK(job::checkJob(*loaded).empty());
    CHECK_THAT(job::archiveJob(folder.path(), folder / "x.zip").error().message,
               Contains("Save the job first"));

    // Saving keeps both the damaged file and the good previous version.
    REQUIRE(job::saveJob(*loaded));
    CHECK(test::bytesOf(folder / "job.damaged-1.json") == damaged);
    CHECK(test::bytesOf(folder / "job.previous.json") == previous);
    const auto again = job::loadJob(folder.path());
    REQUIRE(again);
    CHECK(again->warnings.empty());
    CHECK(again->title == "Small job");

    test::writeBytes(folder / "job.json", "{");
    auto second = job::loadJob(folder.path());
    REQUIRE(second);
    REQUIRE(job::saveJob(*second));
    CHECK(test::bytesOf(folder / "job.damaged-1.json") == damaged);
    CHECK(test::bytesOf(folder / "job.damaged-2.json") == "{");
}

TEST_CASE("A job whose job.json is gone opens from its previous version", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    test::makeSmallJob(folder.path());
    std::filesystem::remove(folder / "job.json");
    auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    REQUIRE(loaded->warnings.size() == 1);
    CHECK_THAT(loaded->warnings[0], Contains("missing"));
    REQUIRE(job::saveJob(*loaded));
    CHECK(job::loadJob(folder.path())->warnings.empty());
}

TEST_CASE("A slip of the pen in job.json is named and not papered over", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    const auto made = test::makeSmallJob(folder.path());
    std::string text = test::bytesOf(folder / "job.json");
    const auto place = text.find("\"parked\"");
    REQUIRE(place != std::string::npos);
    text.replace(place, 8, "\"gone\"");
    test::writeBytes(folder / "job.json", text);
    const auto loaded = job::loadJob(folder.path());
    REQUIRE_FALSE(loaded);
    CHECK_THAT(loaded.error().message, Contains("stateId"));
    // Nor is a newer version's file taken for damage.
    test::writeBytes(folder / "job.json", R"({"kind": "saddletone-job", "schemaVersion": 99})");
    CHECK(job::loadJob(folder.path()).error().code == ErrorCode::newerSchema);
}

TEST_CASE("Where the previous version is damaged too, job.json's damage is told",
          "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    test::makeSmallJob(folder.path());
    test::writeBytes(folder / "job.json", "{");
    test::writeBytes(folder / "job.previous.json", "");
    const auto loaded = job::loadJob(folder.path());
    REQUIRE_FALSE(loaded);
    CHECK_THAT(loaded.error().message, Contains("job.json") && Contains("not valid JSON"));
}

TEST_CASE("What another program changed in job.json is not overwritten", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder.path());
    auto theirs = job::loadJob(folder.path());
    REQUIRE(theirs);
    theirs->title = "Theirs";
    REQUIRE(job::saveJob(*theirs));
    const auto before = test::filesBelow(folder.path());

    job.title = "Mine";
    const auto saved = job::saveJob(job);
    REQUIRE_FALSE(saved);
    CHECK(saved.error().code == ErrorCode::alreadyExists);
    CHECK_THAT(saved.error().message,
               Contains("changed by another program") && Contains("open the job again"));
    // A state that cannot be named in job.json is not left behind.
    measure::Response response;
    response.impulse.assign(100, 0.5F);
    CHECK_FALSE(job::addState(job, response, "new", "new", tuning::Tuning {}).has_value());
    CHECK(test::filesBelow(folder.path()) == before);
    CHECK(job.states.size() == 1);

    // Unless the user says so; theirs is the previous version then.
    REQUIRE(job::saveJob(job, job::SaveRule::overwriteChanged));
    CHECK(job::loadJob(folder.path())->title == "Mine");
    CHECK(test::bytesOf(folder / "job.previous.json") == before.at("job.json"));
    // And from then on it is ours.
    job.title = "Mine, later";
    CHECK(job::saveJob(job).has_value());

    std::filesystem::remove(folder / "job.json");
    CHECK_THAT(job::saveJob(job).error().message, Contains("removed by another program"));
}

TEST_CASE("A new job does not replace one that is there", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    test::makeSmallJob(folder.path());
    const auto before = test::filesBelow(folder.path());
    job::Job fresh;
    fresh.folder = folder.path();
    const auto saved = job::saveJob(fresh);
    REQUIRE_FALSE(saved);
    CHECK_THAT(saved.error().message, Contains("holds a job already"));
    CHECK(test::filesBelow(folder.path()) == before);
}

TEST_CASE("A job whose disk has gone is not saved somewhere else", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "stick/job");
    std::filesystem::remove_all(folder / "stick");
    const auto saved = job::saveJob(job);
    REQUIRE_FALSE(saved);
    CHECK_THAT(saved.error().message, Contains("is gone") && Contains("connect its disk"));
    measure::Response response;
    response.impulse.assign(100, 0.5F);
    CHECK_THAT(job::addState(job, response, "new", "new").error().message, Contains("is gone"));
    CHECK_THAT(job::storeTuning(job, nlohmann::json::object(), "new").error().message,
               Contains("is gone"));
    CHECK_FALSE(std::filesystem::exists(folder / "stick"));
}

TEST_CASE("A take whose disk has gone says so", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    auto writer = measure::TakeWriter::create(folder / "stick/takes", "take", {8000.0});
    REQUIRE(writer);
    const std::vector<float> second(8000, 0.1F);
    REQUIRE(writer->append(second));
    std::filesystem::remove_all(folder / "stick");
    const auto written = writer->append(second);
    REQUIRE_FALSE(written);
    CHECK_THAT(written.error().message, Contains("take-01.wav") && Contains("stopped after"));
    CHECK_FALSE(std::filesystem::exists(folder / "stick"));
}

TEST_CASE("A full disk keeps job.json as it was", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder.path());
    const auto before = test::filesBelow(folder.path());
    job.title = std::string(5000, 'x');
    {
        const test::FileSizeLimit limit(4000);
        const auto saved = job::saveJob(job);
        REQUIRE_FALSE(saved);
        CHECK_THAT(saved.error().message, Contains("disk is not full"));
        measure::Response response;
        response.impulse.assign(5000, 0.5F);
        CHECK_FALSE(job::addState(job, response, "new", "new").has_value());
    }
    const auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    CHECK(loaded->warnings.empty());
    auto now = test::filesBelow(folder.path());
    CHECK(now.at("job.json") == before.at("job.json"));
    CHECK(now.size() == before.size());
    // Once there is room it goes on.
    CHECK(job::saveJob(job).has_value());
}

TEST_CASE("Opening a job sweeps away what a crash left half-written and nothing else",
          "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    test::makeSmallJob(folder.path());
    const std::string here = ".part-" + files::textChecksum(platform::hostName()) + "-";
    const std::string dead = here + "999999999-"; // above the system's highest process number
    const std::string mine = here + std::to_string(platform::processId()) + "-";
    std::filesystem::create_directories(folder / ("tunings/.tuning" + dead + "3"));
    const std::string gone[] {".job" + dead + "0.json", "states/.parked.impulse" + dead + "12.wav",
                              "tunings/.tuning" + dead + "3/inner.json",
                              ".kept" + dead + "1.zip.Xy12Zw"};
    const std::string kept[] {".job" + mine + "0.json",
                              ".job.part-00000000-999999999-0.json", // of another machine
                              ".part-of-a-song.wav",
                              "song" + dead + "1.wav",
                              ".song" + here + "2-final.wav",
                              ".hidden"};
    for (const auto& name : gone)
        test::writeBytes(folder / name, "half");
    for (const auto& name : kept)
        test::writeBytes(folder / name, "whole");
    const auto opened = job::openJob(folder.path());
    REQUIRE(opened);
    CHECK(opened->swept.size() == 4);
    const auto files = test::filesBelow(folder.path());
    for (const auto& name : gone)
        CHECK(files.count(name) == 0);
    for (const auto& name : kept)
        CHECK(files.count(name) == 1);
}

TEST_CASE("Takes that were cut off are listed with what can be used", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    test::makeSmallJob(folder.path());
    const auto takes = folder / job::takesFolderName;
    const auto record = [&](const std::string& name, double seconds, measure::TakeEnd end,
                            const std::string& verdict) {
        auto writer = measure::TakeWriter::create(takes, name, {8000.0});
        REQUIRE(writer);
        REQUIRE(
            writer->append(std::vector<float>(static_cast<std::size_t>(8000.0 * seconds), 0.1F)));
        REQUIRE(writer->finish());
        measure::TakeRecord about;
        about.audioFile = writer->file().filename().string();
        about.sampleRate = 8000.0;
        about.end = end;
        about.verdict = verdict;
        REQUIRE(measure::saveTakeRecord(about, writer->file()));
        return writer->file();
    };
    record("done", 1.0, measure::TakeEnd::byUser, "");
    record("measured", 1.0, measure::TakeEnd::unfinished, "good");
    const auto cut = record("cut", 2.5, measure::TakeEnd::unfinished, "");
    const auto empty = record("empty", 0.0, measure::TakeEnd::unfinished, "");
    const auto opened = job::openJob(folder.path());
    REQUIRE(opened);
    REQUIRE(opened->cutOffTakes.size() == 2);
    CHECK(opened->cutOffTakes[0].audioFile == cut);
    CHECK(opened->cutOffTakes[0].durationSeconds == Approx(2.5));
    CHECK(opened->cutOffTakes[0].problem.empty());
    CHECK(opened->cutOffTakes[1].audioFile == empty);
    CHECK(opened->cutOffTakes[1].durationSeconds == 0.0);
    CHECK_FALSE(opened->cutOffTakes[1].problem.empty());
}

TEST_CASE("A take that is being recorded is not called cut off", "[core][job][recovery]")
{
    const test::TemporaryFolder folder;
    test::makeSmallJob(folder.path());
    const auto takes = folder / job::takesFolderName;
    auto writer = measure::TakeWriter::create(takes, "running", {8000.0});
    REQUIRE(writer);
    measure::TakeRecord about;
    about.audioFile = writer->file().filename().string();
    about.sampleRate = 8000.0;
    REQUIRE(measure::saveTakeRecord(about, writer->file()));
    const auto file = writer->file();
    const auto countCutOff = [&] {
        const auto opened = job::openJob(folder.path());
        REQUIRE(opened);
        return opened->cutOffTakes.size();
    };
    CHECK(measure::TakeWriter::isBeingWritten(file));
    CHECK(countCutOff() == 0);
    REQUIRE(writer->append(std::vector<float>(12000, 0.1F)));
    CHECK(countCutOff() == 0);
    REQUIRE(writer->finish());
    // Its record does not say yet that it ended.
    CHECK(countCutOff() == 0);
    {
        const measure::TakeWriter gone = *std::move(writer);
    }
    CHECK_FALSE(measure::TakeWriter::isBeingWritten(file));
    CHECK(countCutOff() == 1);
    about.end = measure::TakeEnd::byUser;
    REQUIRE(measure::saveTakeRecord(about, file));
    CHECK(countCutOff() == 0);
}
