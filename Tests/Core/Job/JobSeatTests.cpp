// The listener's seat in a job.
#include "Core/Job/Job.h"
#include "Support/PluginJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <string>

#include <nlohmann/json.hpp>

using namespace saddletone;
using nlohmann::json;

namespace {

json documentIn(const std::filesystem::path& folder)
{
    return json::parse(test::bytesOf(folder / "job.json"));
}

bool mentions(const dsp::Error& error, const std::string& words)
{
    return error.message.find(words) != std::string::npos;
}

struct SeatJob {
    test::TemporaryFolder folder;
    job::Job job;

    SeatJob() : job(test::writeMadeUpJob(folder.path(), "Made-up job"))
    {
        std::filesystem::create_directories(folder / "seat");
        test::writeBytes(folder / "seat/phone.csv", "50,-3\n200,0\n1000,0\n5000,4\n15000,1\n");
        test::writeBytes(folder / "seat/target.csv", "20,2\n200,0\n10000,-2\n");
        seat::HeadphoneCalibration calibration;
        calibration.headphone = "On the counter";
        calibration.date = "2026-05-01";
        calibration.source = "ear simulator";
        calibration.measuredSplDb = 90.0;
        REQUIRE(seat::saveHeadphoneCalibration(calibration, folder / "seat/level.json"));
        job.seat = {"seat/phone.csv", "seat/target.csv", true, "", "seat/level.json"};
    }
};

} // namespace

TEST_CASE("A job keeps its seat, with keys that are not known", "[core][job][seat]")
{
    SeatJob made;
    // Jobs that say nothing of a seat stay without the block.
    CHECK_FALSE(documentIn(made.folder.path()).contains("seat"));
    REQUIRE(job::saveJob(made.job));
    json document = documentIn(made.folder.path());
    CHECK(document["seat"]
          == json {{"headphoneResponseFile", "seat/phone.csv"},
                   {"headphoneTargetFile", "seat/target.csv"},
                   {"isBinaural", true},
                   {"headphoneCalibrationFile", "seat/level.json"}});
    document["seat"]["cushion"] = "gel";
    test::writeBytes(made.folder / "job.json", document.dump());

    auto loaded = job::loadJob(made.folder.path());
    REQUIRE(loaded);
    CHECK(loaded->seat == made.job.seat);
    CHECK(job::checkJob(*loaded).empty());
    loaded->seat = {};
    REQUIRE(job::saveJob(*loaded));
    CHECK(documentIn(made.folder.path())["seat"] == json {{"cushion", "gel"}});
}

TEST_CASE("A job's seat reaches the scene", "[core][job][seat]")
{
    SeatJob made;
    const auto request = job::loadSceneRequest(made.job);
    REQUIRE(request);
    REQUIRE(request->seat != nullptr);
    CHECK(request->seat->isCorrected());
    CHECK(request->seat->target.has_value());
    CHECK(request->seat->isBinaural());
    const auto headphones = job::loadHeadphones(made.job);
    REQUIRE(headphones);
    REQUIRE(headphones->has_value());
    CHECK((*headphones)->splAtFullScaleDb() == Approx(110.0));

    made.job.seat = {};
    const auto without = job::loadSceneRequest(made.job);
    REQUIRE(without);
    CHECK(without->seat == nullptr);
    const auto unknown = job::loadHeadphones(made.job);
    REQUIRE(unknown);
    CHECK_FALSE(unknown->has_value());
}

TEST_CASE("Seats that cannot be are refused", "[core][job][seat]")
{
    SeatJob made;
    REQUIRE(job::saveJob(made.job));
    const json good = documentIn(made.folder.path());
    const auto refusalWith = [&](const std::string& key, const json& value) {
        json document = good;
        if (value.is_null())
            document["seat"].erase(key);
        else
            document["seat"][key] = value;
        test::writeBytes(made.folder / "job.json", document.dump());
        const auto loaded = job::loadJob(made.folder.path());
        REQUIRE_FALSE(loaded);
        return loaded.error();
    };
    for (const std::string key : {"headphoneResponseFile", "headphoneTargetFile", "headSetFile",
                                  "headphoneCalibrationFile"}) {
        CAPTURE(key);
        const auto outside = refusalWith(key, "../x");
        CHECK(mentions(outside, "seat." + key));
        CHECK(mentions(outside, "inside the folder"));
        CHECK(mentions(refusalWith(key, 5), "seat." + key));
    }
    CHECK(mentions(refusalWith("isBinaural", "yes"), "seat.isBinaural"));
    CHECK(mentions(refusalWith("headphoneResponseFile", nullptr), "seat.headphoneTargetFile"));
    CHECK(mentions(refusalWith("speakerPlaces", "here"), "seat.speakerPlaces"));
    CHECK(mentions(refusalWith("speakerPlaces", {{"front", {{"azimuthDegrees", -20.0}}}}),
                   "seat.speakerPlaces.front.azimuthDegrees"));
    CHECK(mentions(refusalWith("speakerPlaces", {{"rear", {{"distanceMetres", 0.1}}}}),
                   "seat.speakerPlaces.rear.distanceMetres"));
    json document = good;
    document["seat"] = "comfortable";
    test::writeBytes(made.folder / "job.json", document.dump());
    CHECK_FALSE(job::loadJob(made.folder.path()).has_value());

    made.job.seat.headphoneResponseFile = "seat/gone.csv";
    made.job.seat.headphoneCalibrationFile = "seat/phone.csv";
    const auto astray = job::loadSceneRequest(made.job);
    REQUIRE_FALSE(astray);
    CHECK(mentions(astray.error(), "gone.csv"));
    CHECK(job::checkJob(made.job).size() == 2);
}
