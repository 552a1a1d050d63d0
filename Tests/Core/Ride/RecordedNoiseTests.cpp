#include "Core/Ride/RecordedNoise.h"

#include "Core/Dsp/Units.h"
#include "Support/ChangedFile.h"
#include "Support/TemporaryFolder.h"

#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;
using ride::NoiseRecording;
using ride::SpeedPlace;

namespace {

/** Noise of one level in every twelfth octave, with one tone. */
NoiseRecording recordingOf(double speedKmh, double levelDbfs, double toneHz, double toneDbfs)
{
    NoiseRecording recording;
    recording.name = "ride.wav";
    recording.durationSeconds = 30.5;
    recording.remarks = {"a remark"};
    recording.levelDeviationDb = 2.5;
    ride::NoiseState& state = recording.state;
    state.speedKmh = speedKmh;
    for (auto& ear : state.noiseDbfs)
        ear.fill(levelDbfs);
    state.coherence.fill(0.5);
    state.coherencePhaseRadians.fill(-0.25);
    state.fluctuation.variancesDb2.fill(0.25);
    state.fluctuation.skewness = 0.3;
    state.fluctuation.earCorrelation = 0.75;
    state.numTones = 1;
    state.tones[0] = {toneHz, {toneDbfs, toneDbfs - 1.0}, 0.5, 1.5, 0.8, 0.01};
    return recording;
}

ride::RecordedNoise twoSpeeds(double secondToneHz)
{
    auto noise = ride::makeRecordedNoise(
        {recordingOf(120.0, -30.0, secondToneHz, -20.0), recordingOf(60.0, -50.0, 100.0, -30.0)});
    REQUIRE(noise);
    return *noise;
}

} // namespace

TEST_CASE("Recorded noise survives a round trip", "[core][ride]")
{
    const test::TemporaryFolder folder;
    auto noise = twoSpeeds(200.0);
    REQUIRE(ride::saveRecordedNoise(noise, folder / "noise.json"));
    auto loaded = ride::loadRecordedNoise(folder / "noise.json");
    REQUIRE(loaded);
    CHECK(*loaded == noise);
    noise.splAtFullScaleDb = 118.25;
    noise.calibrationNote = "tone";
    REQUIRE(ride::saveRecordedNoise(noise, folder / "noise.json"));
    loaded = ride::loadRecordedNoise(folder / "noise.json");
    REQUIRE(loaded);
    CHECK(*loaded == noise);
}

TEST_CASE("Recorded noise with a wrong value is refused with its key", "[core][ride]")
{
    const test::TemporaryFolder folder;
    REQUIRE(ride::saveRecordedNoise(twoSpeeds(200.0), folder / "noise.json"));
    const std::string text = test::bytesOf(folder / "noise.json");
    const auto refusedWith = [&](const std::string& from, const std::string& to,
                                 const std::string& word) {
        test::checkRefused(folder, text, from, to, word, ride::loadRecordedNoise);
    };
    refusedWith("\"speedKmh\": 60.0", "\"speedKmh\": -1", "speedKmh");
    refusedWith("\"speedKmh\": 60.0", "\"speedKmh\": 120.0", "each speed once");
    refusedWith("\"skewness\": 0.3", "\"skewness\": \"much\"", "skewness");
    refusedWith("-50.0,", "", "123");
    refusedWith("0.5,", "1.5,", "coherence");
    refusedWith("\"frequencyHz\": 100.0", "\"frequencyHz\": 0", "frequencyHz");
    refusedWith("\"schemaVersion\": 1", "\"schemaVersion\": 2", "schemaVersion");
    refusedWith("saddletone-ride-noise", "saddletone-state", "kind");
    refusedWith("\"recordings\"", "\"others\"", "recordings");
}

TEST_CASE("Noise between two speeds is straight in decibels over the logarithm of speed",
          "[core][ride]")
{
    const auto noise = twoSpeeds(200.0);
    ride::NoiseState state;
    for (const double share : {0.25, 0.5, 0.9}) {
        const double speedKmh = 60.0 * std::exp2(share);
        noise.stateAt(speedKmh, state);
        CHECK(state.speedKmh == Approx(speedKmh));
        CHECK(state.noiseDbfs[0][40] == Approx(-50.0 + 20.0 * share));
        CHECK(state.noiseDbfs[1][123] == Approx(-50.0 + 20.0 * share));
        CHECK(state.coherence[7] == Approx(0.5));
        CHECK(state.fluctuation.deviationDb() == Approx(2.0));
        // The tone follows the speed: 100 Hz at 60 km/h, 200 Hz at 120 km/h.
        REQUIRE(state.numTones == 1);
        CHECK(state.tones[0].frequencyHz == Approx(100.0 * std::exp2(share)));
        CHECK(state.tones[0].levelsDbfs[0] == Approx(-30.0 + 10.0 * share));
    }
}

TEST_CASE("A tone that stands still stays, and one of a single speed fades", "[core][ride]")
{
    ride::NoiseState state;
    twoSpeeds(101.0).stateAt(60.0 * std::exp2(0.5), state);
    REQUIRE(state.numTones == 1);
    CHECK(state.tones[0].frequencyHz == Approx(std::sqrt(100.0 * 101.0)));

    twoSpeeds(333.0).stateAt(60.0 * std::exp2(0.25), state);
    REQUIRE(state.numTones == 2);
    CHECK(state.tones[0].frequencyHz == Approx(100.0));
    CHECK(state.tones[0].levelsDbfs[0] == Approx(-30.0 + dsp::powerToDb(0.75)));
    CHECK(state.tones[1].frequencyHz == Approx(333.0));
    CHECK(state.tones[1].levelsDbfs[0] == Approx(-20.0 + dsp::powerToDb(0.25)));
}

TEST_CASE("Outside the recorded speeds the nearest recording holds, and that is said",
          "[core][ride]")
{
    const auto noise = twoSpeeds(200.0);
    ride::NoiseState state;
    noise.stateAt(200.0, state);
    CHECK(state == noise.recordings[1].state);
    noise.stateAt(0.0, state);
    CHECK(state == noise.recordings[0].state);
    CHECK(noise.placeOf(30.0).place == SpeedPlace::heldBelow);
    CHECK(noise.placeOf(60.0).place == SpeedPlace::recorded);
    CHECK(noise.placeOf(90.0).place == SpeedPlace::between);
    CHECK(noise.placeOf(121.0).place == SpeedPlace::heldAbove);
    CHECK_THAT(noise.placeSentence(90.0), Catch::Contains("interpolated"));
    CHECK_THAT(noise.placeSentence(150.0), Catch::Contains("held") && Catch::Contains("120 km/h")
                                               && Catch::Contains("quieter"));
    CHECK_THAT(noise.placeSentence(120.0), Catch::Contains("recorded at 120"));
}

TEST_CASE("A band that one recording lacks is silent between the two", "[core][ride]")
{
    auto noise = twoSpeeds(200.0);
    noise.recordings[0].state.noiseDbfs[0][120] = dsp::silenceDb;
    ride::NoiseState state;
    noise.stateAt(90.0, state);
    CHECK(state.noiseDbfs[0][120] == dsp::silenceDb);
}

TEST_CASE("Third octaves of recorded noise hold four bands and the tones within", "[core][ride]")
{
    const auto recording = recordingOf(60.0, -50.0, 1000.0, -30.0);
    const auto levels = ride::thirdOctaveLevelsDbfs(recording.state, 0);
    REQUIRE(levels.size() == 31);
    CHECK(levels[0] == Approx(-50.0 + dsp::powerToDb(4.0)));
    // 1 kHz is the 18th band from 20 Hz.
    CHECK(levels[17] == Approx(dsp::powerToDb(4e-5 + 1e-3)));
    CHECK(ride::noiseBandEdgeHz(68) == Approx(891.251));
    CHECK(ride::modulationEdgeHz(0) == Approx(1.0 / 64.0));
    CHECK(ride::modulationEdgeHz(ride::numModulationBands) == Approx(4.0));
}

TEST_CASE("Every figure of recorded noise has a status and a source", "[core][ride]")
{
    auto noise = twoSpeeds(200.0);
    noise.recordings[0].numChannels = 1;
    for (const dsp::ModelFigure& figure : noise.figures()) {
        CAPTURE(figure.name);
        CHECK_FALSE(figure.value.empty());
        CHECK_FALSE(figure.source.empty());
        if (figure.name == "coherence of the ears")
            CHECK(figure.status == dsp::FigureStatus::judgement);
        if (figure.name == "noise spectrum")
            CHECK(figure.value == "as recorded at 60 km/h, 120 km/h");
        if (figure.name.starts_with("sound pressure"))
            CHECK_THAT(figure.value, Catch::Contains("relative"));
    }
}
