#include "Core/Seat/CandidateDifference.h"

#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Core/Seat/SpectrumShape.h"
#include "Core/Tuning/Tuning.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using seat::DifferenceSettings;

namespace {

constexpr double rate = 48000.0;
constexpr std::size_t numTaps = 16384;

/** A bike as a microphone hears it: direct sound, and reflections that decay within 50 ms. */
std::vector<double> bike(std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    std::vector<double> taps(numTaps, 0.0);
    taps[60] = 1.0;
    for (std::size_t n = 90; n < 6000; ++n)
        taps[n] = 0.05 * random.nextGaussian() * std::exp(-static_cast<double>(n) / 700.0);
    return taps;
}

std::vector<double> tuned(std::vector<double> taps, std::vector<tuning::Element> elements)
{
    tuning::Tuning tuning;
    tuning.chains.push_back({tuning::OutputGroup::all, std::move(elements)});
    tuning::applyTuning(tuning, tuning::OutputGroup::left, rate, taps);
    return taps;
}

std::vector<float> single(const std::vector<double>& taps)
{
    return {taps.begin(), taps.end()};
}

/** Levels of third octaves from 25 Hz to 16 kHz. */
std::vector<double> bandLevels(const std::vector<double>& taps)
{
    constexpr std::size_t size = 1U << 17U;
    auto power = seat::magnitudesOf(taps, size);
    for (double& value : power)
        value *= value;
    std::vector<double> levels;
    for (const double band :
         dsp::bandPowers(power, rate / size, dsp::octaveBands(3, 25.0, 16500.0)))
        levels.push_back(dsp::powerToDb(band));
    return levels;
}

tuning::Element peaking(double frequencyHz, double gainDb, double q)
{
    tuning::Element element;
    element.type = tuning::ElementType::peaking;
    element.frequencyHz = frequencyHz;
    element.gainDb = gainDb;
    element.q = q;
    return element;
}

} // namespace

TEST_CASE("The first candidate through the difference becomes the second", "[core][seat]")
{
    const auto first = bike(1);
    const auto second = tuned(
        first, {peaking(80.0, 6.0, 0.7), peaking(700.0, -5.0, 1.4), peaking(4000.0, 8.0, 2.0)});
    const auto difference = seat::candidateDifference(single(first), single(second), {});
    REQUIRE(difference);
    CHECK(difference->limitedProportion == 0.0);
    CHECK(difference->taps.size() == 8192);
    const auto wanted = bandLevels(second);
    const auto found = bandLevels(dsp::convolve(first, difference->taps));
    for (std::size_t band = 0; band < wanted.size(); ++band) {
        CAPTURE(band);
        // 0.5 dB: what a sixth of an octave smooths of the steepest filter.
        CHECK(found[band] == Approx(wanted[band]).margin(0.5));
    }
}

TEST_CASE("Two measurements are brought together in third octaves", "[core][seat]")
{
    const auto first = bike(2);
    const auto second = tuned(bike(3), {peaking(250.0, -6.0, 1.0), peaking(2500.0, 5.0, 1.0)});
    const auto difference = seat::candidateDifference(single(first), single(second), {});
    REQUIRE(difference);
    const auto wanted = bandLevels(second);
    const auto found = bandLevels(dsp::convolve(first, difference->taps));
    for (std::size_t band = 0; band < wanted.size(); ++band) {
        CAPTURE(band);
        // The combs of both within a band are not those of each other, and a band of the middle
        // holds few teeth: 2 dB.
        CHECK(found[band] == Approx(wanted[band]).margin(2.0));
    }
}

TEST_CASE("Equal candidates differ by nothing", "[core][seat]")
{
    const auto taps = single(bike(4));
    const auto difference = seat::candidateDifference(taps, taps, {});
    REQUIRE(difference);
    CHECK(difference->taps.front() == Approx(1.0).margin(1e-3));
    for (std::size_t tap = 1; tap < difference->taps.size(); ++tap)
        CHECK(std::abs(difference->taps[tap]) < 1e-3);
}

TEST_CASE("The level of the second candidate is part of the difference", "[core][seat]")
{
    const auto first = bike(5);
    auto second = first;
    for (double& tap : second)
        tap *= dsp::dbToAmplitude(-7.0);
    const auto difference = seat::candidateDifference(single(first), single(second), {});
    REQUIRE(difference);
    for (const double levelDb : difference->filterDb)
        CHECK(levelDb == Approx(-7.0).margin(0.05));
}

TEST_CASE("The difference stays within its limits and says where they act", "[core][seat]")
{
    const auto first = bike(6);
    const auto second = tuned(first, {peaking(60.0, 18.0, 0.5), peaking(5000.0, -20.0, 0.5)});
    for (const double limitDb : {0.0, 6.0, 12.0}) {
        CAPTURE(limitDb);
        DifferenceSettings settings;
        settings.maxBoostDb = limitDb;
        settings.maxCutDb = limitDb;
        const auto difference = seat::candidateDifference(single(first), single(second), settings);
        REQUIRE(difference);
        const auto magnitudes = seat::magnitudesOf(difference->taps, 1U << 17U);
        CHECK(dsp::amplitudeToDb(*std::ranges::max_element(magnitudes)) <= limitDb + 1e-6);
        CHECK(*std::ranges::min_element(difference->filterDb) > -limitDb - 0.3);
        CHECK(difference->limitedProportion > 0.1);
        // Where the limits do not bite it is the difference still.
        for (std::size_t index = 0; index < difference->frequenciesHz.size(); ++index)
            if (std::abs(difference->wantedDb[index]) < limitDb - 3.0) {
                CHECK(difference->filterDb[index]
                      == Approx(difference->wantedDb[index]).margin(0.5));
            }
    }
}

TEST_CASE("A hole in the first candidate is not filled without end", "[core][seat]")
{
    // 100 dB below the rest nothing is asked of the speaker, whatever the second has there.
    std::vector<double> band(numTaps, 0.0);
    for (std::size_t n = 0; n < 4096; ++n) {
        const double x = (static_cast<double>(n) - 2048.0) * 0.1;
        const double window =
            0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / 4096.0);
        band[n] = window * (x == 0.0 ? 1.0 : std::sin(x) / x);
    }
    DifferenceSettings settings;
    settings.maxBoostDb = 24.0;
    const auto difference = seat::candidateDifference(single(band), single(bike(7)), settings);
    REQUIRE(difference);
    CHECK(difference->filterDb.back() < 0.0);
}

TEST_CASE("Taps and settings that give no difference are refused", "[core][seat]")
{
    const auto taps = single(bike(8));
    const std::vector<float> silent(100, 0.0F);
    auto broken = taps;
    broken[5] = std::numeric_limits<float>::quiet_NaN();
    const auto first = seat::candidateDifference(silent, taps, {});
    REQUIRE_FALSE(first);
    CHECK(first.error().message.find("first candidate is silent") != std::string::npos);
    CHECK_FALSE(seat::candidateDifference(taps, silent, {}));
    CHECK_FALSE(seat::candidateDifference({}, taps, {}));
    CHECK_FALSE(seat::candidateDifference(taps, broken, {}));
    DifferenceSettings settings;
    settings.smoothingOctaves = 0.0;
    CHECK_FALSE(seat::candidateDifference(taps, taps, settings));
    settings = {};
    settings.sampleRate = 1000.0;
    CHECK_FALSE(seat::candidateDifference(taps, taps, settings));
    settings = {};
    settings.maxCutDb = -1.0;
    CHECK_FALSE(seat::candidateDifference(taps, taps, settings));
    settings = {};
    settings.toHz = 30.0;
    CHECK_FALSE(seat::candidateDifference(taps, taps, settings));
    settings = {};
    settings.numTaps = 0;
    CHECK_FALSE(seat::candidateDifference(taps, taps, settings));
}
