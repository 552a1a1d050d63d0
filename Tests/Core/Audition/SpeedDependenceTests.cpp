#include "Core/Audition/SpeedDependence.h"

#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/AnalogueSection.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Support/AuditionFixtures.h"
#include "Support/ChangedFile.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <vector>

using namespace saddletone;
using audition::SpeedDependence;

namespace {

/** A pulse through one peak of a gain at 100 Hz, as a radio's bass boost would be. */
measure::Response bassResponse(double gainDb)
{
    measure::Response response;
    std::vector<double> impulse(24000, 0.0);
    response.arrivalFrame = 480;
    impulse[response.arrivalFrame] = 1.0;
    dsp::filterInPlace(dsp::bilinearBiquad(dsp::analoguePeaking(100.0, 1.0, gainDb), 48000.0),
                       impulse);
    response.impulse.assign(impulse.begin(), impulse.end());
    return response;
}

SpeedDependence radio()
{
    SpeedDependence radio;
    radio.volume.gains = {{0.0, 0.0}, {100.0, 8.0}};
    radio.volume.states = {{0.0, "parked.json"}, {100.0, "fast.json"}};
    radio.states = {bassResponse(10.0), bassResponse(2.0)};
    return radio;
}

double levelDbAt(const measure::Response& response, double frequencyHz)
{
    return response.magnitudeDb(std::array {frequencyHz}, 12).front();
}

} // namespace

TEST_CASE("An equaliser that follows speed is the measured one at its speeds", "[core][audition]")
{
    const SpeedDependence measured = radio();
    CHECK(audition::responseAtSpeed(measured, 0.0).impulse == measured.states[0].impulse);
    CHECK(audition::responseAtSpeed(measured, 100.0).impulse == measured.states[1].impulse);
    CHECK(audition::responseAtSpeed(measured, 160.0).impulse == measured.states[1].impulse);
}

TEST_CASE("Between two speeds the magnitude is straight in decibels", "[core][audition]")
{
    // The magnitude of the peaks by their own formula: between 10 and 2 dB at 100 Hz.
    const SpeedDependence measured = radio();
    for (const double speedKmh : {25.0, 50.0, 90.0}) {
        const auto mixed = audition::responseAtSpeed(measured, speedKmh);
        CAPTURE(speedKmh);
        for (const double frequencyHz : {40.0, 70.0, 100.0, 140.0, 300.0, 3000.0}) {
            CAPTURE(frequencyHz);
            const double lower = levelDbAt(measured.states[0], frequencyHz);
            const double upper = levelDbAt(measured.states[1], frequencyHz);
            CHECK(levelDbAt(mixed, frequencyHz)
                  == Approx(lower + 0.01 * speedKmh * (upper - lower)).margin(0.2));
        }
        CHECK(mixed.arrivalFrame == measured.states[0].arrivalFrame);
    }
}

TEST_CASE("Calibrations of two speeds count in the level between them", "[core][audition]")
{
    SpeedDependence measured = radio();
    for (auto& state : measured.states)
        state.hasCalibration = true;
    measured.states[0].calibration = {94.0, -20.0};
    measured.states[1].calibration = {94.0, -14.0}; // the same sound is 6 dB higher in the file
    const auto mixed = audition::responseAtSpeed(measured, 50.0);
    CHECK(levelDbAt(mixed, 3000.0) == Approx(-3.0).margin(0.2));
}

TEST_CASE("The radio's gain at a speed lifts the music against the noise", "[core][audition]")
{
    audition::SceneRequest request;
    request.candidates.push_back({"radio", bassResponse(6.0), {}});
    auto dependence = std::make_shared<SpeedDependence>(radio());
    dependence->states.clear();
    dependence->volume.states.clear();
    request.candidates.front().atSpeed = dependence;
    const auto layout = audition::PartitionLayout::forTaps(4096);
    const auto scene = audition::buildScene(request, layout, 48000.0);
    REQUIRE(scene);
    const auto levelsAt = [&](double speedKmh) {
        audition::AuditionEngine::Parameters parameters;
        parameters.ride.speedKmh = speedKmh;
        return levelsOf(*scene, scene->candidates.front(), parameters);
    };
    CHECK(levelsAt(0.0).radioGainDb == 0.0);
    CHECK(levelsAt(50.0).radioGainDb == Approx(4.0));
    CHECK(levelsAt(130.0).radioGainDb == 8.0);
    CHECK(levelsAt(130.0).programmeSplDba == Approx(levelsAt(0.0).programmeSplDba + 8.0));
}

TEST_CASE("A scene is built with the equaliser of its speed", "[core][audition]")
{
    audition::SceneRequest request;
    request.candidates.push_back({"as parked", bassResponse(10.0), {}});
    request.candidates.push_back({"radio", bassResponse(10.0), {}});
    request.candidates[1].atSpeed = std::make_shared<SpeedDependence>(radio());
    const auto layout = audition::PartitionLayout::forTaps(8192);
    const auto aboveParkedDb = [&](double speedKmh) {
        request.equaliserSpeedKmh = speedKmh;
        const auto scene = audition::buildScene(request, layout, 48000.0);
        REQUIRE(scene);
        return scene->candidates[1].level.splDba - scene->candidates[0].level.splDba;
    };
    CHECK(aboveParkedDb(0.0) == 0.0);
    const double fastDb = aboveParkedDb(100.0);
    CHECK(fastDb < -0.05);
    CHECK(aboveParkedDb(50.0) < 0.0);
    CHECK(aboveParkedDb(50.0) > fastDb);
}

TEST_CASE("A speed volume is read with the states it names", "[core][audition]")
{
    const test::TemporaryFolder folder;
    REQUIRE(ride::saveSpeedVolume(radio().volume, folder / "radio.json"));
    const auto missing = audition::loadSpeedDependence(folder / "radio.json");
    REQUIRE_FALSE(missing);
    CHECK_THAT(missing.error().message, Catch::Contains("parked.json"));

    REQUIRE(measure::saveResponse(bassResponse(10.0), folder / "parked.json"));
    REQUIRE(measure::saveResponse(bassResponse(2.0), folder / "fast.json"));
    const auto loaded = audition::loadSpeedDependence(folder / "radio.json");
    REQUIRE(loaded);
    CHECK((*loaded)->volume == radio().volume);
    REQUIRE((*loaded)->states.size() == 2);
    CHECK((*loaded)->states[1].impulse == bassResponse(2.0).impulse);

    auto outside = radio().volume;
    outside.states[1].stateFile = "../fast.json";
    REQUIRE(ride::saveSpeedVolume(outside, folder / "radio.json"));
    const auto refused = audition::loadSpeedDependence(folder / "radio.json");
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().message, Catch::Contains("inside the folder"));
}
