#include "Core/Ride/SpeedVolume.h"

#include "Support/ChangedFile.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using ride::SpeedCourse;
using ride::SpeedVolume;

namespace {

SpeedVolume radio()
{
    SpeedVolume volume;
    volume.name = "Stock";
    volume.gains = {{0.0, 0.0}, {50.0, 2.0}, {100.0, 6.0}};
    volume.states = {{0.0, "parked.json"}, {60.0, "at-60.json"}, {100.0, "at-100.json"}};
    return volume;
}

} // namespace

TEST_CASE("A volume curve is straight between its entries and holds beyond them", "[core][ride]")
{
    const auto volume = radio();
    CHECK(volume.gainDbAt(-5.0) == 0.0);
    CHECK(volume.gainDbAt(25.0) == Approx(1.0));
    CHECK(volume.gainDbAt(50.0) == 2.0);
    CHECK(volume.gainDbAt(87.5) == Approx(5.0));
    CHECK(volume.gainDbAt(300.0) == 6.0);
    CHECK(SpeedVolume {}.gainDbAt(80.0) == 0.0);
}

TEST_CASE("Volume steps hold from their speed on, up and down alike", "[core][ride]")
{
    auto volume = radio();
    volume.volumeCourse = SpeedCourse::steps;
    CHECK(volume.gainDbAt(0.0) == 0.0);
    CHECK(volume.gainDbAt(49.9) == 0.0);
    CHECK(volume.gainDbAt(50.0) == 2.0);
    CHECK(volume.gainDbAt(99.9) == 2.0);
    CHECK(volume.gainDbAt(100.0) == 6.0);
    CHECK(volume.gainDbAt(49.9) == 0.0);
}

TEST_CASE("An equaliser that follows speed says which responses stand for a speed", "[core][ride]")
{
    auto volume = radio();
    CHECK(volume.stateMixAt(30.0) == ride::StateMix {0, 1, 0.5, false});
    CHECK(volume.stateMixAt(60.0) == ride::StateMix {1, 1, 0.0, false});
    CHECK(volume.stateMixAt(120.0) == ride::StateMix {2, 2, 0.0, true});
    CHECK_THAT(volume.stateSentence(30.0), Catch::Contains("interpolated between"));
    CHECK_THAT(volume.stateSentence(60.0), Catch::Contains("was measured at 60"));
    CHECK_THAT(volume.stateSentence(120.0), Catch::Contains("no measurement reaches"));

    volume.equaliserCourse = SpeedCourse::steps;
    CHECK(volume.stateMixAt(29.0) == ride::StateMix {0, 0, 0.0, false});
    CHECK(volume.stateMixAt(31.0) == ride::StateMix {1, 1, 0.0, false});
    CHECK_THAT(volume.stateSentence(31.0), Catch::Contains("measured at 60 km/h, the nearest"));

    const std::vector<double> lower {0.0, 2.0};
    const std::vector<double> upper {4.0, -2.0};
    CHECK(ride::mixedMagnitudeDb(lower, upper, 0.25) == std::vector<double> {1.0, 1.0});
}

TEST_CASE("A speed volume survives a round trip and is checked on loading", "[core][ride]")
{
    const test::TemporaryFolder folder;
    auto volume = radio();
    volume.volumeCourse = SpeedCourse::steps;
    REQUIRE(ride::saveSpeedVolume(volume, folder / "volume.json"));
    const auto loaded = ride::loadSpeedVolume(folder / "volume.json");
    REQUIRE(loaded);
    CHECK(*loaded == volume);

    const std::string text = test::bytesOf(folder / "volume.json");
    const auto refusedWith = [&](const std::string& from, const std::string& to,
                                 const std::string& word) {
        test::checkRefused(folder, text, from, to, word, ride::loadSpeedVolume);
    };
    refusedWith("\"speedKmh\": 50.0", "\"speedKmh\": 0.0", "rising speed");
    refusedWith("\"gainDb\": 2.0", "\"gainDb\": 99", "gainDb");
    refusedWith("\"steps\"", "\"jumps\"", "volumeCourse");
    refusedWith("at-60.json\"", "\", \"x\": 1", "stateFile");
    refusedWith("saddletone-speed-volume", "saddletone-job", "kind");
}
