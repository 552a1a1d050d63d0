#include "Core/Ride/RideNoise.h"

#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"
#include "Core/Ride/RideSpectrum.h"
#include "Support/AllocationCounter.h"
#include "Support/EarRendering.h"
#include "Support/LockCounter.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

using namespace saddletone;
using ride::RideNoise;
using ride::RideParameters;
using test::Ears;
using test::render;

namespace {

RideNoise prepared(std::uint64_t seed, const RideParameters& ride, double sampleRate = 48000.0)
{
    RideNoise noise(seed);
    noise.setParameters({.ride = ride});
    noise.prepare({sampleRate, 4096, 2});
    return noise;
}

/** A ride in which every source is heard. */
RideParameters fullRide()
{
    RideParameters ride;
    ride.speedKmh = 110.0;
    ride.screen = ride::Screen::low;
    ride.tyre.treadToneIsOn = true;
    ride.engine.firing = ride::firingPatternOf(ride::EnginePreset::flatSix);
    return ride;
}

RideParameters onlyEngine(double rpm)
{
    RideParameters ride;
    ride.speedKmh = 100.0;
    ride.measuredRpm = rpm;
    ride.helmet = ride::Helmet::none;
    ride.windTrimDb = dsp::silenceDb;
    ride.tyreTrimDb = dsp::silenceDb;
    return ride;
}

double aWeightedSpl(const std::vector<float>& ear, double sampleRate, double fullScaleDb = 140.0)
{
    const auto lines = test::lineSpectrum(ear);
    const double binHz = sampleRate / static_cast<double>(ear.size());
    double power = 0.0;
    for (std::size_t bin = 1; bin < lines.size(); ++bin)
        power +=
            lines[bin]
            * dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, static_cast<double>(bin) * binHz));
    return dsp::powerToDb(2.0 * power) + fullScaleDb;
}

bool startsWith(const Ears& part, const Ears& whole, std::size_t offset)
{
    for (std::size_t ear = 0; ear < 2; ++ear)
        if (!std::equal(part[ear].begin(), part[ear].end(),
                        whole[ear].begin() + static_cast<std::ptrdiff_t>(offset)))
            return false;
    return true;
}

/** Largest step of the second difference over the RMS: a click stands out in it. */
double roughness(const std::vector<float>& samples)
{
    double largest = 0.0;
    for (std::size_t frame = 2; frame < samples.size(); ++frame)
        largest = std::max(largest, std::abs(static_cast<double>(samples[frame])
                                             - 2.0 * samples[frame - 1] + samples[frame - 2]));
    return largest / std::sqrt(test::meanSquare(samples));
}

} // namespace

TEST_CASE("A ride's noise has the stated level at every sample rate", "[core][ride]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        RideParameters ride = fullRide();
        ride.wind.gustDeviationDb = 0.0;
        auto noise = prepared(21, ride, sampleRate);
        const auto ears = render(noise, static_cast<std::size_t>(20.0 * sampleRate));
        const double stated = ride::rideSpectrum(ride).totalDba;
        CAPTURE(sampleRate);
        // 250 Hz of noise over 20 s: 0.06 dB by chance, and the beat of the wake.
        for (const auto& ear : ears)
            CHECK(aWeightedSpl(ear, sampleRate) == Approx(stated).margin(0.3));
    }
}

TEST_CASE("Wind in a rendered ride meets the published points of level over speed", "[core][ride]")
{
    // Binnington et al. 1993; McCombe et al. 1994. Gusts off, as the sources state means.
    for (const auto& [speedMph, levelDba] :
         std::vector<std::pair<double, double>> {{40.0, 90.0}, {50.0, 95.0}, {80.0, 107.0}}) {
        RideParameters ride;
        ride.speedKmh = dsp::mphToKmh(speedMph);
        ride.engineState = ride::EngineState::off;
        ride.wind.gustDeviationDb = 0.0;
        auto noise = prepared(3, ride);
        const auto ears = render(noise, 48000 * 20);
        CAPTURE(speedMph);
        CHECK(aWeightedSpl(ears[0], 48000.0) == Approx(levelDba).margin(1.0));
    }
}

TEST_CASE("Engine lines have the weights of the firing pattern", "[core][ride]")
{
    // 2400 rpm is 20 Hz a half-order; without jitter lines are exact.
    for (const ride::EnginePreset preset : ride::allEnginePresets) {
        RideParameters ride = onlyEngine(2400.0);
        ride.engine.firing = ride::firingPatternOf(preset);
        ride.engine.amplitudeJitter = 0.0;
        ride.engine.timingJitterDegrees = 0.0;
        auto noise = prepared(4, ride);
        const auto ears = render(noise, 96000);
        CHECK(ears[0] == ears[1]);
        const auto lines = test::lineSpectrum(ears[0]);
        CAPTURE(ride::enginePresetName(preset));
        const auto expectedAt = [&ride](std::size_t k) {
            return ride.engine.firing.combWeight(k) / std::hypot(1.0, static_cast<double>(k) / 4.0);
        };
        const auto lineAt = [&lines](std::size_t k) { return std::sqrt(lines[k * 40]); };
        const std::size_t first = ride.engine.firing.numCylinders;
        const double scale = lineAt(first) / expectedAt(first);
        for (std::size_t k = 1; k <= 64; ++k) {
            CAPTURE(k);
            // A table read by straight lines loses 0.01 dB at half-order 64 and leaves images 60 dB
            // down.
            if (expectedAt(k) > 0.01)
                CHECK(dsp::amplitudeToDb(lineAt(k) / (scale * expectedAt(k)))
                      == Approx(0.0).margin(0.05));
            else
                CHECK(lineAt(k) < 0.001 * scale);
        }
        CHECK(aWeightedSpl(ears[0], 48000.0)
              == Approx(ride::rideState(ride).engineDba).margin(0.05));
    }
}

TEST_CASE("A ride's noise does not depend on how the stream is cut", "[core][ride]")
{
    auto whole = prepared(7, fullRide());
    const auto expected = render(whole, 60000, {4096});
    for (const auto& blocks :
         {std::vector<std::size_t> {1}, std::vector<std::size_t> {0, 17, 4096, 1, 333, 0, 2048},
          std::vector<std::size_t> {4095}, std::vector<std::size_t> {64}}) {
        auto cut = prepared(7, fullRide());
        CHECK(render(cut, 60000, blocks) == expected);
    }
}

TEST_CASE("Changes in a ride do not depend on how the stream is cut", "[core][ride]")
{
    const auto ridden = [](const std::vector<std::size_t>& blocks) {
        auto noise = prepared(8, fullRide());
        Ears all;
        const auto append = [&](const Ears& part) {
            for (std::size_t ear = 0; ear < 2; ++ear)
                all[ear].insert(all[ear].end(), part[ear].begin(), part[ear].end());
        };
        append(render(noise, 10007, blocks));
        RideParameters faster = fullRide();
        faster.speedKmh = 160.0;
        faster.screen = ride::Screen::tall;
        faster.helmet = ride::Helmet::none;
        noise.setParameters({.ride = faster});
        append(render(noise, 8192 - 1815, blocks));
        noise.setParameters({.ride = {}});
        append(render(noise, 30000, blocks));
        return all;
    };
    const auto expected = ridden({4096});
    CHECK(ridden({1}) == expected);
    CHECK(ridden({0, 31, 700, 2}) == expected);
}

TEST_CASE("Any position of a ride can be reached at once", "[core][ride]")
{
    auto whole = prepared(9, fullRide());
    const auto all = render(whole, 120000);
    for (const std::size_t start : {std::size_t {0}, std::size_t {1}, std::size_t {31},
                                    std::size_t {4096}, std::size_t {12345}, std::size_t {90001}}) {
        CAPTURE(start);
        auto noise = prepared(9, fullRide());
        noise.seek(start);
        CHECK(startsWith(render(noise, 20000, {333}), all, start));
        // From anywhere, and back.
        noise.seek(start);
        CHECK(startsWith(render(noise, 5000), all, start));
        auto skipping = prepared(9, fullRide());
        (void)render(skipping, 1000);
        skipping.skip(start);
        CHECK(startsWith(render(skipping, 20000), all, 1000 + start));
    }
    // Far out, after a day.
    auto early = prepared(9, fullRide());
    early.seek(48000ULL * 86400ULL);
    auto late = prepared(9, fullRide());
    late.seek(48000ULL * 86400ULL - 5000ULL);
    (void)render(late, 5000);
    CHECK(render(late, 5000) == render(early, 5000));
}

TEST_CASE("A ride that was reset is as fresh and has its own seed", "[core][ride]")
{
    auto noise = prepared(10, fullRide());
    const auto fresh = render(noise, 20000);
    noise.reset();
    CHECK(render(noise, 20000) == fresh);
    noise.prepare({48000.0, 4096, 2});
    CHECK(render(noise, 20000) == fresh);
    auto other = prepared(11, fullRide());
    CHECK(render(other, 20000) != fresh);
}

TEST_CASE("A parked bike with its engine off is silent", "[core][ride]")
{
    RideParameters ride;
    ride.engineState = ride::EngineState::off;
    auto noise = prepared(12, ride);
    const auto ears = render(noise, 20000);
    for (const auto& ear : ears)
        CHECK(std::ranges::all_of(ear, [](float sample) { return sample == 0.0F; }));
}

TEST_CASE("Changes of a ride glide", "[core][ride]")
{
    // An engine alone shows a click best: its second difference is small.
    auto noise = prepared(13, onlyEngine(2400.0));
    const auto before = render(noise, 24000);
    double roughest = roughness(before[0]);
    for (const double rpm : {4200.0, 1500.0}) {
        noise.setParameters({.ride = onlyEngine(rpm)});
        const auto glide = render(noise, 24000);
        auto settled = prepared(13, onlyEngine(rpm));
        roughest = std::max(roughest, roughness(render(settled, 24000)[0]));
        CHECK(roughness(glide[0]) < 1.5 * roughest);
    }
    RideParameters changed = onlyEngine(1500.0);
    changed.engine.firing = ride::firingPatternOf(ride::EnginePreset::inlineThree);
    changed.helmet = ride::Helmet::fullFace;
    changed.earPlugs = ride::EarPlugs::nominal;
    noise.setParameters({.ride = changed});
    const auto crossing = render(noise, 12000);
    CHECK(roughness(crossing[0]) < 3.0 * roughest);
    // Full level within a quarter of a second; then it is that of a ride that never was another.
    (void)render(noise, 12000);
    const auto after = render(noise, 48000);
    CHECK(aWeightedSpl(after[0], 48000.0)
          == Approx(ride::rideSpectrum(changed).totalDba).margin(0.3));
}

TEST_CASE("The scale of a ride is the sound pressure level of full scale", "[core][ride]")
{
    auto noise = prepared(14, fullRide());
    const auto loud = render(noise, 10000);
    RideNoise other(14);
    other.setParameters({.ride = fullRide(), .splAtFullScaleDb = 120.0});
    other.prepare({48000.0, 512, 2});
    const auto louder = render(other, 10000);
    CHECK(dsp::powerToDb(test::meanSquare(louder[0]) / test::meanSquare(loud[0]))
          == Approx(20.0).margin(0.001));
}

TEST_CASE("Making a ride takes no memory and no lock", "[core][ride]")
{
    auto noise = prepared(15, fullRide());
    std::vector<float> left(4096);
    std::vector<float> right(4096);
    const std::array<float*, 2> pointers {left.data(), right.data()};
    RideParameters ride = fullRide();
    const test::AllocationCounter counter;
    const test::LockCounter locks;
    for (std::size_t block = 0; block < 60; ++block) {
        noise.process({pointers.data(), 2, block * 68});
        ride.speedKmh = static_cast<double>(block) * 5.0;
        ride.helmet = ride::allHelmets[block % 3];
        ride.screen = ride::allScreens[block % 3];
        ride.earPlugs = ride::allEarPlugs[block % 3];
        ride.engineState = block % 5 == 0 ? ride::EngineState::off : ride::EngineState::running;
        noise.setParameters({.ride = ride});
        noise.skip(block);
    }
    noise.seek(123456);
    noise.process({pointers.data(), 2, 4096});
    noise.reset();
    noise.process({pointers.data(), 2, 4096});
    CHECK(counter.numHeapCalls() == 0);
    if (test::LockCounter::isAvailable())
        CHECK(locks.numLocks() == 0);
}

TEST_CASE("A ride stays finite at all extremes", "[core][ride]")
{
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    constexpr double infinity = std::numeric_limits<double>::infinity();
    for (const double sampleRate : {8000.0, 48000.0, 384000.0})
        for (const double extreme : {nan, infinity, -infinity, 1e30, 0.0, 1e-30}) {
            RideParameters ride = fullRide();
            ride.speedKmh = extreme;
            auto noise = prepared(16, ride, sampleRate);
            const auto check = [&] {
                const auto ears = render(noise, 3 * 32768);
                for (const auto& ear : ears)
                    REQUIRE(std::ranges::all_of(ear, [](float sample) {
                        return std::isfinite(sample) && std::abs(sample) < 1000.0F;
                    }));
            };
            check();
            ride.measuredRpm = extreme;
            ride.wind.gustTimeSeconds = extreme;
            ride.wind.gustDeviationDb = extreme;
            ride.wind.coherenceDecay = extreme;
            ride.engine.pulseCornerOrder = extreme;
            ride.engine.timingJitterDegrees = extreme;
            ride.engine.firing.anglesDegrees.fill(extreme);
            ride.tyre.treadPitchMetres = extreme;
            ride.windTrimDb = extreme;
            noise.setParameters({.ride = ride});
            check();
        }
}

TEST_CASE("Gusts keep the mean power at their stated deviation", "[core][ride]")
{
    const ride::WindGusts gusts(17);
    double sum = 0.0;
    double squares = 0.0;
    double power = 0.0;
    constexpr int numPoints = 400000;
    for (int point = 0; point < numPoints; ++point) {
        const double levelDb = gusts.levelDb(0.25 * point, 1.5, 1.5);
        sum += levelDb;
        squares += levelDb * levelDb;
        power += dsp::dbToPower(levelDb);
    }
    const double mean = sum / numPoints;
    // 100000 s hold 30000 independent values: 0.4 % of the deviation, 0.01 dB of the power.
    CHECK(std::sqrt(squares / numPoints - mean * mean) == Approx(1.5).epsilon(0.02));
    CHECK(dsp::powerToDb(power / numPoints) == Approx(0.0).margin(0.04));
}

TEST_CASE("The beat of a wake keeps the mean power and its range of frequencies", "[core][ride]")
{
    const ride::WakeModulation wake(18);
    double power = 0.0;
    double highest = -1.0;
    double lowest = 1.0;
    constexpr int perSecond = 1000;
    constexpr int numPoints = 600 * perSecond;
    int rises = 0;
    double lastRise = 0.0;
    double shortest = 1.0;
    double longest = 0.0;
    double before = wake.beat(0.0);
    for (int point = 0; point < numPoints; ++point) {
        const double beat = wake.beat(static_cast<double>(point) / perSecond);
        const double gain = ride::WakeModulation::gain(beat, 3.0);
        power += gain * gain;
        highest = std::max(highest, beat);
        lowest = std::min(lowest, beat);
        if (before < 0.0 && beat >= 0.0) {
            const double rise = (point - beat / (beat - before)) / perSecond;
            if (rises++ > 0) {
                shortest = std::min(shortest, rise - lastRise);
                longest = std::max(longest, rise - lastRise);
            }
            lastRise = rise;
        }
        before = beat;
    }
    CHECK(dsp::powerToDb(power / numPoints) == Approx(0.0).margin(0.01));
    CHECK(dsp::amplitudeToDb(ride::WakeModulation::gain(highest, 3.0)
                             / ride::WakeModulation::gain(lowest, 3.0))
          == Approx(3.0).margin(0.001));
    CHECK(1.0 / shortest < ride::WakeModulation::highestHz + 0.01);
    CHECK(1.0 / longest > ride::WakeModulation::lowestHz - 0.01);
}
