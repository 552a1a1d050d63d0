#include "Core/Job/JobArchive.h"

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

// What is in an archive, and archives made by others, good and bad: Tests/CommandLine.

TEST_CASE("An archived job comes back byte for byte", "[core][job][archive]")
{
    const test::TemporaryFolder folder;
    const auto job = test::makeSmallJob(folder / "job");
    std::vector<job::TransferProgress> seen;
    job::TransferHooks hooks;
    hooks.onProgress = [&](const job::TransferProgress& progress) { seen.push_back(progress); };
    const auto packed = job::archiveJob(job.folder, folder / "kept/job.zip", hooks);
    REQUIRE(packed);
    const auto files = test::filesBelow(job.folder);
    CHECK(packed->numFiles == files.size());
    CHECK(packed->problems.empty());
    REQUIRE_FALSE(seen.empty());
    CHECK(seen.back().bytesDone == packed->numBytes);

    seen.clear();
    const auto unpacked = job::unpackJob(folder / "kept/job.zip", folder / "back", hooks);
    REQUIRE(unpacked);
    CHECK(test::filesBelow(folder / "back") == files);
    CHECK(unpacked->numFiles == files.size());
    CHECK(unpacked->numBytes == packed->numBytes);
    CHECK(unpacked->problems.empty());
    CHECK(seen.back().bytesDone == packed->numBytes);
    CHECK(job::checkJob(*job::loadJob(folder / "back")).empty());
}

TEST_CASE("Packing and unpacking that are cancelled anywhere leave nothing", "[core][job][archive]")
{
    const test::TemporaryFolder folder;
    const auto job = test::makeSmallJob(folder / "job");
    REQUIRE(job::archiveJob(job.folder, folder / "good.zip"));
    const auto before = test::filesBelow(folder.path());
    for (int step = 0; step < 5; ++step) {
        job::TransferHooks hooks;
        hooks.isCancelled = [left = step]() mutable { return left-- <= 0; };
        const auto packed = job::archiveJob(job.folder, folder / "new.zip", hooks);
        REQUIRE(packed);
        CHECK(packed->isCancelled);
        const auto unpacked = job::unpackJob(folder / "good.zip", folder / "back", hooks);
        REQUIRE(unpacked);
        CHECK(unpacked->isCancelled);
        CHECK(test::filesBelow(folder.path()) == before);
        CHECK_FALSE(std::filesystem::exists(folder / "back"));
    }
}

TEST_CASE("Archives beyond the limits are refused before anything is written",
          "[core][job][archive]")
{
    const test::TemporaryFolder folder;
    const auto job = test::makeSmallJob(folder / "job");
    const auto packed = job::archiveJob(job.folder, folder / "job.zip");
    REQUIRE(packed);
    const auto before = test::filesBelow(folder.path());
    const auto refusal = [&](const job::UnpackLimits& limits) {
        const auto unpacked = job::unpackJob(folder / "job.zip", folder / "back", {}, limits);
        REQUIRE_FALSE(unpacked);
        CHECK(unpacked.error().code == ErrorCode::outOfRange);
        CHECK(test::filesBelow(folder.path()) == before);
        return unpacked.error().message;
    };
    CHECK_THAT(refusal({.maxFiles = packed->numFiles - 1}), Contains("files"));
    CHECK_THAT(refusal({.maxFileBytes = 299'999}), Contains("300000 bytes"));
    CHECK_THAT(refusal({.maxTotalBytes = packed->numBytes - 1}),
               Contains(std::to_string(packed->numBytes)));
    CHECK(job::unpackJob(folder / "job.zip", folder / "back", {},
                         {packed->numFiles, 300'000, packed->numBytes})
              .has_value());
}

TEST_CASE("A disk that fills up leaves neither archive nor job", "[core][job][archive]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "job");
    // Letters do not shrink as one letter does.
    std::string noise;
    for (std::uint32_t value = 1, count = 0; count < 300'000; ++count) {
        value = value * 1664525U + 1013904223U; // Numerical Recipes' generator (from memory).
        noise.push_back(static_cast<char>(value >> 24U));
    }
    test::writeBytes(folder / "job/noise.bin", noise);
    REQUIRE(job::archiveJob(job.folder, folder / "good.zip"));
    const auto before = test::filesBelow(folder.path());
    const test::FileSizeLimit limit(100'000);
    const auto packed = job::archiveJob(job.folder, folder / "new.zip");
    REQUIRE_FALSE(packed);
    CHECK(packed.error().code == ErrorCode::cannotWrite);
    CHECK_THAT(packed.error().message, Contains("new.zip") && Contains("full"));
    const auto unpacked = job::unpackJob(folder / "good.zip", folder / "back");
    REQUIRE_FALSE(unpacked);
    CHECK(unpacked.error().code == ErrorCode::cannotWrite);
    CHECK(test::filesBelow(folder.path()) == before);
    CHECK_FALSE(std::filesystem::exists(folder / "back"));
}

TEST_CASE("A job that changes while it is packed is not packed", "[core][job][archive]")
{
    const test::TemporaryFolder folder;
    auto job = test::makeSmallJob(folder / "job");
    job::TransferHooks hooks;
    hooks.onProgress = [&](const job::TransferProgress&) {
        if (job.title != "Changed") {
            job.title = "Changed";
            REQUIRE(job::saveJob(job));
        }
    };
    const auto packed = job::archiveJob(job.folder, folder / "new.zip", hooks);
    REQUIRE_FALSE(packed);
    CHECK_FALSE(std::filesystem::exists(folder / "new.zip"));
}
