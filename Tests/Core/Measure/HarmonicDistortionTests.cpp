#include "Core/Measure/HarmonicDistortion.h"

#include "Core/Files/Resampler.h"
#include "Core/Measure/Measurement.h"
#include "Support/SweepTakes.h"

#include <array>
#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

constexpr double amplitude = 0.251188643; // -12 dBFS, the track's level
// A speaker's polynomial, made so that its harmonics lie between -30 and -50 dB.
constexpr std::array coefficients {1.0, 0.2, 0.35, -0.9, 2.5};

double speaker(double x)
{
    double power = x;
    double sum = 0.0;
    for (const double coefficient : coefficients) {
        sum += coefficient * power;
        power *= x;
    }
    return sum;
}

/** Level of a harmonic re the fundamental, in dB: powers of a sine written as sums of multiples,
    sin^2 = 1/2 - cos 2t / 2, sin^3 = (3 sin t - sin 3t) / 4, and so on. */
double theoryDb(int order)
{
    const double a = amplitude;
    const auto c = [](std::size_t power) { return coefficients[power - 1]; };
    const double a2 = a * a;
    const double fundamental = a * (c(1) + 0.75 * c(3) * a2 + 0.625 * c(5) * a2 * a2);
    const std::array levels {0.5 * c(2) * a2 + 0.5 * c(4) * a2 * a2,
                             0.25 * c(3) * a2 * a + 0.3125 * c(5) * a2 * a2 * a,
                             0.125 * c(4) * a2 * a2, 0.0625 * c(5) * a2 * a2 * a};
    return 20.0 * std::log10(std::abs(levels[static_cast<std::size_t>(order - 2)] / fundamental));
}

/** The track through the speaker, at four times its rate so that no harmonic folds back. */
std::vector<double> distorted(const signals::Signal& track)
{
    const std::vector<double> samples(track.audio.channels.front().begin(),
                                      track.audio.channels.front().end());
    auto sound = files::resample(samples, 4.0);
    for (double& sample : sound)
        sample = speaker(sample);
    return sound;
}

} // namespace

TEST_CASE("Harmonics 2 to 5 of a polynomial speaker are right to 0.5 dB, with and without drift",
          "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    const auto sound = distorted(track);
    for (const double clockPpm : {0.0, 180.0}) {
        const auto recording = test::record(sound, 192000.0, {.clockPpm = clockPpm});
        const auto response = test::measureTakes(track, {{"take.wav", {48000.0, {recording}}}});
        REQUIRE(response.distortion.size() == 4);
        double largest = 0.0;
        for (const measure::HarmonicOrder& order : response.distortion) {
            std::size_t numChecked = 0;
            for (const measure::HarmonicLevel& level : order.levels) {
                if (level.frequencyHz < 49.0 || level.frequencyHz > 2100.0)
                    continue;
                INFO("order " << order.order << " at " << level.frequencyHz << " Hz, " << clockPpm
                              << " ppm, floor " << level.floorDb);
                CHECK(level.levelDb == Approx(theoryDb(order.order)).margin(0.5));
                CHECK(level.significant());
                largest = std::max(largest, std::abs(level.levelDb - theoryDb(order.order)));
                ++numChecked;
            }
            CHECK(numChecked == 17);
            // What it cannot know it does not state: n f above the sweep's end, f below its start.
            CHECK(order.levels.front().frequencyHz >= 20.0 * 1.119);
            CHECK(order.levels.back().frequencyHz * order.order < 22000.0);
        }
        CAPTURE(clockPpm, largest);
        CHECK(largest < 0.01);
    }
}

TEST_CASE("What noise explains is not taken for distortion", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto sound = test::SimulatedBike().play(track.audio.channels.front(), 48000.0);
    const auto recording = test::record(sound, 48000.0, {.noiseRms = 1e-3, .seed = 8});
    const auto response = test::measureTakes(track, {{"take.wav", {48000.0, {recording}}}});
    std::size_t numLevels = 0;
    std::size_t numSignificant = 0;
    for (const measure::HarmonicOrder& order : response.distortion)
        for (const measure::HarmonicLevel& level : order.levels) {
            ++numLevels;
            numSignificant += level.significant() ? 1U : 0U;
        }
    CHECK(numLevels > 60);
    INFO(numSignificant << " of " << numLevels);
    CHECK(numSignificant * 25 <= numLevels);
}
