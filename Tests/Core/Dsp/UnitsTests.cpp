#include "Core/Dsp/Units.h"

#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <vector>

using namespace saddletone;

TEST_CASE("Decibels and ratios undo each other", "[core][dsp]")
{
    for (double db = -300.0; db <= 120.0; db += 7.3) {
        CHECK(dsp::amplitudeToDb(dsp::dbToAmplitude(db)) == Approx(db).margin(1e-11));
        CHECK(dsp::powerToDb(dsp::dbToPower(db)) == Approx(db).margin(1e-11));
        CHECK(dsp::rmsToDbfs(dsp::dbfsToRms(db)) == Approx(db).margin(1e-11));
    }
}

TEST_CASE("Ten times the amplitude is 20 dB and ten times the power 10 dB", "[core][dsp]")
{
    CHECK(dsp::amplitudeToDb(10.0) == Approx(20.0).margin(1e-12));
    CHECK(dsp::amplitudeToDb(-10.0) == Approx(20.0).margin(1e-12));
    CHECK(dsp::powerToDb(10.0) == Approx(10.0).margin(1e-12));
    CHECK(dsp::dbToAmplitude(6.0) == Approx(1.9952623149688795).epsilon(1e-14));
}

TEST_CASE("Silence reads the stated floor and never infinity", "[core][dsp]")
{
    CHECK(dsp::amplitudeToDb(0.0) == dsp::silenceDb);
    CHECK(dsp::amplitudeToDb(-0.0) == dsp::silenceDb);
    CHECK(dsp::powerToDb(0.0) == dsp::silenceDb);
    CHECK(dsp::powerToDb(-1e-9) == dsp::silenceDb);
    CHECK(dsp::rmsToDbfs(0.0) == dsp::silenceDb);
    CHECK(dsp::amplitudeToDb(1e-300) == dsp::silenceDb);
    // The floor joins the curve without a step.
    CHECK(dsp::amplitudeToDb(1.0000001e-20) == Approx(dsp::silenceDb).margin(1e-5));
    CHECK(dsp::powerToDb(1.0000001e-40) == Approx(dsp::silenceDb).margin(1e-5));
}

TEST_CASE("A full-scale sine reads 0 dBFS and a full-scale square wave 3.01 dBFS", "[core][dsp]")
{
    // AES17: the reference is the RMS of a full-scale sine.
    std::vector<float> sine(48000);
    std::vector<float> square(48000);
    for (std::size_t frame = 0; frame < sine.size(); ++frame) {
        sine[frame] = static_cast<float>(
            std::sin(2.0 * std::numbers::pi * 997.0 * static_cast<double>(frame) / 48000.0));
        square[frame] = sine[frame] < 0.0F ? -1.0F : 1.0F;
    }
    CHECK(dsp::rmsToDbfs(std::sqrt(test::meanSquare(sine))) == Approx(0.0).margin(1e-4));
    CHECK(dsp::rmsToDbfs(std::sqrt(test::meanSquare(square))) == Approx(3.0103).margin(1e-4));
    CHECK(dsp::dbfsToRms(0.0) == Approx(1.0 / std::numbers::sqrt2).epsilon(1e-14));
}

TEST_CASE("Miles and kilometres an hour convert by the international mile", "[core][dsp]")
{
    CHECK(dsp::mphToKmh(40.0) == Approx(64.37376).epsilon(1e-14));
    CHECK(dsp::mphToKmh(90.0) == Approx(144.84096).epsilon(1e-14));
    CHECK(dsp::kmhToMph(dsp::mphToKmh(73.0)) == Approx(73.0).epsilon(1e-14));
}
