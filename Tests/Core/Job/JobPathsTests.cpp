#include "Core/Audition/SpeedDependence.h"
#include "Core/Job/Job.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Measure/Response.h"
#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include <filesystem>
#include <string>
#include <vector>

using namespace saddletone;
using nlohmann::json;

// Every door by which a name in a file of a job leads to another file. The blind runs, the records
// of takes and calibrations and NOISE.json name files too, which nothing opens.

namespace {

/** Names that must open nothing; the file they lead to would be sound. */
std::vector<std::string> waysOut(const test::TemporaryFolder& outer, const std::string& extension)
{
    return {(outer / ("outside" + extension)).string(),
            "../outside" + extension,
            "x/../../outside" + extension,
            "..\\outside" + extension,
            "C:\\outside" + extension,
            "C:outside" + extension,
            "link" + extension,
            ".."};
}

/** A job with links out of it to sound files. */
std::filesystem::path trappedJob(const test::TemporaryFolder& outer)
{
    const auto folder = outer / "job";
    test::makeSmallJob(folder);
    std::filesystem::copy_file(folder / "states/parked.impulse.wav", outer / "outside.wav");
    std::filesystem::copy_file(folder / "states/parked.json", outer / "outside.json");
    std::filesystem::copy_file(folder / "states/parked.impulse.wav", outer / "parked.impulse.wav");
    std::filesystem::create_directory(folder / "x");
    for (const auto& place : {folder, folder / "states"})
        for (const char* extension : {".wav", ".json"})
            std::filesystem::create_symlink(outer / (std::string("outside") + extension),
                                            place / (std::string("link") + extension));
    return folder;
}

json jsonIn(const std::filesystem::path& file)
{
    return json::parse(test::bytesOf(file));
}

} // namespace

TEST_CASE("No path of a job.json opens a file outside the job", "[core][job][paths]")
{
    const test::TemporaryFolder outer;
    const auto folder = trappedJob(outer);
    const json good = jsonIn(folder / "job.json");
    for (const std::string pointer :
         {"/states/0/file", "/candidates/0/tuningFile", "/candidates/0/speedVolumeFile",
          "/candidates/0/overdriveFile", "/programmes/0", "/ride/recordedNoiseFile",
          "/seat/headphoneResponseFile", "/seat/headSetFile", "/seat/headphoneCalibrationFile"}) {
        const std::string extension = pointer == "/programmes/0" ? ".wav" : ".json";
        for (const std::string& path : waysOut(outer, extension)) {
            CAPTURE(pointer, path);
            json document = good;
            document[json::json_pointer(pointer)] = path;
            test::writeBytes(folder / "job.json", document.dump());
            const auto loaded = job::loadJob(folder);
            if (!loaded) {
                CHECK_THAT(loaded.error().message, Catch::Contains("inside the folder"));
                continue;
            }
            // A link is found where it is followed.
            const auto problems = job::checkJob(*loaded);
            REQUIRE(problems.size() == 1);
            CHECK_THAT(problems.front(), Catch::Contains("link"));
        }
    }
}

TEST_CASE("No name in a state opens a file outside its folder", "[core][job][paths]")
{
    const test::TemporaryFolder outer;
    const auto folder = trappedJob(outer);
    const auto file = folder / "states/parked.json";
    const json good = jsonIn(file);
    REQUIRE(measure::loadResponse(file));
    for (const std::string key : {"impulse", "harmonics"})
        for (const std::string& name : waysOut(outer, ".wav")) {
            CAPTURE(key, name);
            json document = good;
            if (key == "harmonics")
                document[key] = {{"checksum", good["impulse"]["checksum"]},
                                 {"driveDbfs", -12.0},
                                 {"arrivalFrame", 100}};
            document[key]["file"] = name;
            test::writeBytes(file, document.dump());
            const auto loaded = measure::loadResponse(file);
            REQUIRE_FALSE(loaded);
            CHECK_THAT(loaded.error().message, Catch::Contains(key + ".file"));
        }
}

TEST_CASE("No name in an overdrive model or a speed volume opens a file outside its folder",
          "[core][job][paths]")
{
    const test::TemporaryFolder outer;
    const auto folder = trappedJob(outer);
    measure::HammersteinModel model;
    model.name = "bench";
    for (auto& kernel : model.kernels)
        kernel.assign(400, 0.001F);
    model.arrivalFrame = 10;
    model.takes = {{"loud", -6.0, false}, {"soft", -12.0, false}};
    for (int order = 2; order <= measure::highestHarmonic; ++order)
        model.orders.push_back({order, {}, 0.0, "left out"});
    model.orders.front() = {2, {{50.0, 2000.0}}, 0.4, "order 2"};
    REQUIRE(measure::saveHammersteinModel(model, folder / "model.json"));
    REQUIRE(measure::loadHammersteinModel(folder / "model.json"));
    const json good = jsonIn(folder / "model.json");
    for (const std::string& name : waysOut(outer, ".wav")) {
        CAPTURE(name);
        json document = good;
        document["kernels"]["file"] = name;
        test::writeBytes(folder / "model.json", document.dump());
        const auto loaded = measure::loadHammersteinModel(folder / "model.json");
        REQUIRE_FALSE(loaded);
        CHECK_THAT(loaded.error().message, Catch::Contains("kernels.file"));
    }

    const auto volume = [&](const std::string& stateFile) {
        const json document {{"kind", "saddletone-speed-volume"},
                             {"schemaVersion", 1},
                             {"name", "radio"},
                             {"equaliserCourse", "steps"},
                             {"states", {{{"speedKmh", 0.0}, {"stateFile", stateFile}}}}};
        test::writeBytes(folder / "volume.json", document.dump());
        return audition::loadSpeedDependence(folder / "volume.json");
    };
    const auto sound = volume("states/parked.json");
    if (!sound)
        FAIL(sound.error().message);
    for (const std::string& name : waysOut(outer, ".json")) {
        CAPTURE(name);
        const auto loaded = volume(name);
        REQUIRE_FALSE(loaded);
        CHECK_THAT(loaded.error().message,
                   Catch::Contains("volume.json")
                       && (Catch::Contains("inside the folder") || Catch::Contains("link")));
    }
}
