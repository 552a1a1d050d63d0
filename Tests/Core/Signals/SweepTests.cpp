#include "Core/Signals/Sweep.h"

#include "Core/Dsp/Units.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

using namespace saddletone;

namespace {

constexpr signals::SweepShape unfaded {.fadeInFrames = 0, .fadeOutFrames = 0};

double growthSeconds(const signals::SweepShape& shape, double sampleRate)
{
    return static_cast<double>(shape.numFrames) / sampleRate / std::log(shape.toHz / shape.fromHz);
}

} // namespace

TEST_CASE("The sweep's frequency grows exponentially from end to end", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        signals::SweepShape shape = unfaded;
        shape.toHz = 20000.0;
        shape.numFrames = static_cast<std::size_t>(12.0 * sampleRate);
        const auto sweep = signals::makeSweep(shape, sampleRate);
        REQUIRE(sweep.size() == shape.numFrames);
        const double growth = growthSeconds(shape, sampleRate);
        for (const double part : {0.05, 0.2, 0.4, 0.6, 0.8, 0.97}) {
            const auto frame = static_cast<std::size_t>(part * static_cast<double>(sweep.size()));
            const double expectedHz =
                shape.fromHz * std::exp(static_cast<double>(frame) / sampleRate / growth);
            // Over four cycles, in which the frequency changes by little and about evenly.
            const auto half = static_cast<std::size_t>(2.0 * sampleRate / expectedHz) + 16;
            const std::span<const double> window(sweep.data() + frame - half, 2 * half + 1);
            CAPTURE(sampleRate, expectedHz);
            CHECK(test::normalisedFrequencyOf(window) * sampleRate
                  == Approx(expectedHz).epsilon(2e-3));
        }
    }
}

TEST_CASE("The sweep has the phase of the synchronised form at every point", "[core][signals]")
{
    // Novak, Lotton and Simon, JAES 63(10):786-798, 2015: x(t) = sin(2 pi f1 L exp(t / L)).
    const auto sweep = signals::makeSweep(unfaded, 48000.0);
    const double growth = growthSeconds(unfaded, 48000.0);
    for (std::size_t frame = 0; frame < sweep.size(); frame += 7919) {
        const double seconds = static_cast<double>(frame) / 48000.0;
        const double phase =
            2.0 * std::numbers::pi * unfaded.fromHz * growth * std::exp(seconds / growth);
        CHECK(sweep[frame] == Approx(unfaded.amplitude * std::sin(phase)).margin(1e-9));
    }
    // The same point of the sweep's second harmonic lies L ln 2 later: what an analyser relies on.
    const double laterSeconds = growth * std::log(2.0);
    const double phase = 2.0 * std::numbers::pi * unfaded.fromHz * growth;
    CHECK(phase * std::exp(laterSeconds / growth) == Approx(2.0 * phase).epsilon(1e-12));
}

TEST_CASE("The sweep gives every octave the same energy", "[core][signals]")
{
    const auto sweep = signals::makeSweep({}, 48000.0);
    const std::vector<float> samples(sweep.begin(), sweep.end());
    const auto lines = test::lineSpectrum(samples);
    const double binHz = 48000.0 / static_cast<double>(samples.size());
    const double growth = growthSeconds({}, 48000.0);
    // An octave lasts L ln 2 at half the square of the amplitude.
    const double expectedDb = dsp::powerToDb(0.5 * 0.25 * 0.25 * growth * std::log(2.0)
                                             / (static_cast<double>(samples.size()) / 48000.0));
    for (double fromHz = 40.0; fromHz < 10000.0; fromHz *= 2.0) {
        CAPTURE(fromHz);
        CHECK(dsp::powerToDb(test::powerBetween(lines, binHz, fromHz, 2.0 * fromHz))
              == Approx(expectedDb).margin(0.1));
    }
}

TEST_CASE("The sweep rises and falls as a raised cosine", "[core][signals]")
{
    const signals::SweepShape shape;
    const auto faded = signals::makeSweep(shape, 48000.0);
    const auto plain = signals::makeSweep(unfaded, 48000.0);
    CHECK(std::abs(faded.front()) < 1e-6);
    CHECK(std::abs(faded.back()) < 1e-5);
    const auto gain = [&](std::size_t frame) { return faded[frame] / plain[frame]; };
    const auto raisedCosine = [](double part) {
        return 0.5 - 0.5 * std::cos(std::numbers::pi * part);
    };
    for (const double part : {0.25, 0.5, 0.75}) {
        const auto in = static_cast<std::size_t>(part * static_cast<double>(shape.fadeInFrames));
        CHECK(gain(in) == Approx(raisedCosine(part)).margin(1e-3));
        const auto out = static_cast<std::size_t>(part * static_cast<double>(shape.fadeOutFrames));
        CHECK(gain(shape.numFrames - 1 - out) == Approx(raisedCosine(part)).margin(1e-3));
    }
    // Between the fades nothing is touched.
    CHECK(std::equal(faded.begin() + static_cast<std::ptrdiff_t>(shape.fadeInFrames),
                     faded.end() - static_cast<std::ptrdiff_t>(shape.fadeOutFrames),
                     plain.begin() + static_cast<std::ptrdiff_t>(shape.fadeInFrames)));
}

TEST_CASE("Sweep and marker keep to their amplitude", "[core][signals]")
{
    const auto peakOf = [](const std::vector<double>& samples) {
        return std::max(std::ranges::max(samples), -std::ranges::min(samples));
    };
    CHECK(peakOf(signals::makeSweep({.amplitude = 0.5}, 48000.0)) == Approx(0.5).epsilon(1e-4));
    CHECK(peakOf(signals::makeSweep({.amplitude = 0.5}, 48000.0)) <= 0.5);
    CHECK(peakOf(signals::makeMarker({.amplitude = 0.5}, 48000.0)) == Approx(0.5).epsilon(1e-3));
}

TEST_CASE("The marker's frequency rises in a straight line", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        const signals::MarkerShape shape;
        const auto marker = signals::makeMarker(shape, sampleRate);
        REQUIRE(marker.size() == static_cast<std::size_t>(std::lround(0.4 * sampleRate)));
        for (const double part : {0.15, 0.3, 0.5, 0.7, 0.85}) {
            const auto frame = static_cast<std::size_t>(part * static_cast<double>(marker.size()));
            const auto half = static_cast<std::size_t>(0.002 * sampleRate);
            const std::span<const double> window(marker.data() + frame - half, 2 * half + 1);
            CHECK(test::normalisedFrequencyOf(window) * sampleRate
                  == Approx(800.0 + part * 7200.0).epsilon(0.01));
        }
        CHECK(std::abs(marker.front()) < 1e-3);
        CHECK(std::abs(marker.back()) < 1e-3);
    }
}

TEST_CASE("A marker is like no shifted copy of itself", "[core][signals]")
{
    // What makes it a marker: a single sharp peak when it is correlated with itself.
    const auto marker = signals::makeMarker({}, 48000.0);
    const auto correlation = [&](std::size_t shift) {
        double sum = 0.0;
        for (std::size_t frame = 0; frame + shift < marker.size(); ++frame)
            sum += marker[frame] * marker[frame + shift];
        return std::abs(sum);
    };
    const double peak = correlation(0);
    for (std::size_t shift = 48; shift < marker.size(); shift += 3)
        REQUIRE(correlation(shift) < 0.1 * peak);
}
