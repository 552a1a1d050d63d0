#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobArchive.h"
#include "Core/Job/JobCopy.h"
#include "Core/Job/JobOpening.h"
#include "Core/Measure/TakeRecord.h"
#include "Core/Measure/TakeWriter.h"
#include "Support/KilledProcess.h"
#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <functional>
#include <random>
#include <string>
#include <thread>
#include <vector>

using namespace saddletone;

namespace {

constexpr int killsEach = 50; // of four kinds of work: 200

/** Does some work in a child process, kills that at a random moment after it has done up to so much,
    and has what is left looked at; fifty times. */
void killOften(unsigned seed, std::uint64_t mostDone,
               const std::function<void(int, test::SharedNumber&)>& work,
               const std::function<void(int, std::uint64_t)>& look)
{
    constexpr int longestWaitMicroseconds = 10'000;
    std::mt19937 random(seed);
    std::uniform_int_distribution<std::uint64_t> amounts(0, mostDone);
    std::uniform_int_distribution<int> microseconds(0, longestWaitMicroseconds);
    for (int round = 0; round < killsEach; ++round) {
        CAPTURE(round);
        test::SharedNumber done;
        test::ChildProcess child([&] { work(round, done); });
        REQUIRE(test::waitFor(done, amounts(random)));
        std::this_thread::sleep_for(std::chrono::microseconds(microseconds(random)));
        // A work that ended before its kill would prove nothing.
        CHECK(child.kill());
        look(round, done.get());
    }
}

/** Nothing half-written is left in a folder once it has been opened as a job. */
void checkOpensClean(const std::filesystem::path& folder)
{
    const auto opened = job::openJob(folder);
    if (!opened)
        FAIL(opened.error().message);
    REQUIRE(opened->lock);
    for (const auto& [name, bytes] : test::filesBelow(folder))
        CHECK(name.find(".part-") == std::string::npos);
}

std::vector<std::filesystem::path> namesIn(const std::filesystem::path& folder,
                                           const std::string& beginning)
{
    std::vector<std::filesystem::path> names;
    for (const auto& entry : std::filesystem::directory_iterator(folder))
        if (entry.path().filename().string().starts_with(beginning))
            names.push_back(entry.path());
    return names;
}

} // namespace

TEST_CASE("A job that is being saved when the program is killed opens as old or new",
          "[core][job][crash]")
{
    const test::TemporaryFolder folder;
    const auto made = test::makeSmallJob(folder / "job");
    {
        auto first = made;
        first.title = "0";
        REQUIRE(job::saveJob(first));
    }
    std::uint64_t saved = 0;
    killOften(
        1, 4,
        [&](int, test::SharedNumber& done) {
            auto job = job::loadJob(made.folder);
            const auto lock = job::JobLock::take(made.folder);
            while (job && lock) {
                job->title = std::to_string(++saved);
                if (!job::saveJob(*job))
                    return;
                done.set(saved);
            }
        },
        [&](int, std::uint64_t done) {
            const auto job = job::loadJob(made.folder);
            if (!job)
                FAIL(job.error().message);
            CHECK(job->warnings.empty());
            CHECK(job::checkJob(*job).empty());
            const std::uint64_t version = std::stoull(job->title);
            const std::uint64_t last = std::max(done, saved);
            CHECK(version >= last);
            CHECK(version <= last + 1);
            saved = version;
            const auto previous = files::readTextFile(made.folder / job::previousFileName);
            REQUIRE(previous);
            CHECK(job::jobFromText(*previous, "previous", made.folder).has_value());
            checkOpensClean(made.folder);
        });
}

TEST_CASE("Of a take that is being recorded when the program is killed a second at most is lost",
          "[core][job][crash]")
{
    constexpr double sampleRate = 8000.0;
    constexpr std::size_t blockFrames = 800;
    const test::TemporaryFolder folder;
    const auto made = test::makeSmallJob(folder / "job");
    const auto takes = made.folder / job::takesFolderName;
    killOften(
        2, 12'000,
        [&](int round, test::SharedNumber& done) {
            auto writer =
                measure::TakeWriter::create(takes, "round-" + std::to_string(round), {sampleRate});
            if (!writer)
                return;
            measure::TakeRecord record;
            record.audioFile = writer->file().filename().string();
            record.sampleRate = sampleRate;
            if (!measure::saveTakeRecord(record, writer->file()))
                return;
            std::vector<float> block(blockFrames);
            for (std::uint64_t frame = 0;;) {
                for (float& sample : block)
                    sample = static_cast<float>(frame++ % 1000) / 1000.0F;
                if (!writer->append(block))
                    return;
                done.set(frame);
            }
        },
        [&](int round, std::uint64_t done) {
            const double recordedSeconds = static_cast<double>(done) / sampleRate;
            double keptSeconds = 0.0;
            if (recordedSeconds >= 1.0) {
                const auto read =
                    files::readAudioFile(takes / ("round-" + std::to_string(round) + "-01.wav"));
                if (!read)
                    FAIL(read.error().message);
                keptSeconds = static_cast<double>(read->numFrames()) / sampleRate;
                bool isAsRecorded = true;
                for (std::size_t frame = 0; frame < read->numFrames(); ++frame)
                    isAsRecorded =
                        isAsRecorded
                        && read->channels[0][frame] == static_cast<float>(frame % 1000) / 1000.0F;
                CHECK(isAsRecorded);
            }
            CHECK(keptSeconds > recordedSeconds - 1.0);
            CHECK(job::loadJob(made.folder).has_value());
        });
    const auto opened = job::openJob(made.folder);
    REQUIRE(opened);
    REQUIRE_FALSE(opened->cutOffTakes.empty());
    const auto longest =
        std::ranges::max(opened->cutOffTakes, {}, &measure::CutOffTake::durationSeconds);
    CHECK(longest.durationSeconds > 1.0);
    CHECK(longest.problem.empty());
}

TEST_CASE("A program that is killed while it packs leaves the job, and whole archives only",
          "[core][job][crash]")
{
    const test::TemporaryFolder folder;
    const auto made = test::makeSmallJob(folder / "job");
    const auto before = test::filesBelow(made.folder);
    const auto kept = folder / "kept";
    std::filesystem::create_directory(kept);
    killOften(
        3, 2,
        [&](int round, test::SharedNumber& done) {
            for (std::uint64_t number = 1;; ++number) {
                if (!job::archiveJob(
                        made.folder,
                        kept / (std::to_string(round) + "-" + std::to_string(number) + ".zip")))
                    return;
                done.set(number);
            }
        },
        [&](int round, std::uint64_t done) {
            CHECK(test::filesBelow(made.folder) == before);
            const auto archives = namesIn(kept, std::to_string(round) + "-");
            CHECK(archives.size() >= done);
            CHECK(archives.size() <= done + 1);
            for (const auto& archive : archives) {
                const auto unpacked = job::unpackJob(archive, folder / "back");
                if (!unpacked)
                    FAIL(unpacked.error().message);
                CHECK(test::filesBelow(folder / "back") == before);
                std::filesystem::remove_all(folder / "back");
                std::filesystem::remove(archive);
            }
        });
    REQUIRE(job::archiveJob(made.folder, kept / "last.zip"));
    CHECK(namesIn(kept, "").size() == 1); // The last one swept away what was half-written.
}

TEST_CASE("A program that is killed while it copies leaves the job, and whole copies only",
          "[core][job][crash]")
{
    const test::TemporaryFolder folder;
    const auto made = test::makeSmallJob(folder / "job");
    const auto before = test::filesBelow(made.folder);
    const auto kept = folder / "kept";
    std::filesystem::create_directory(kept);
    killOften(
        4, 2,
        [&](int round, test::SharedNumber& done) {
            for (std::uint64_t number = 1;; ++number) {
                if (!job::copyJob(made.folder,
                                  kept / (std::to_string(round) + "-" + std::to_string(number))))
                    return;
                done.set(number);
            }
        },
        [&](int round, std::uint64_t done) {
            CHECK(test::filesBelow(made.folder) == before);
            const auto copies = namesIn(kept, std::to_string(round) + "-");
            CHECK(copies.size() >= done);
            CHECK(copies.size() <= done + 1);
            for (const auto& copy : copies) {
                CHECK(test::filesBelow(copy) == before);
                std::filesystem::remove_all(copy);
            }
        });
    REQUIRE(job::copyJob(made.folder, kept / "last"));
    CHECK(namesIn(kept, "").size() == 1);
}
