#include "Core/Signals/CalibratedPink.h"

#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

using namespace saddletone;
using signals::CalibratedPinkSource;

// Figures of SMPTE ST 2095-1:2015 as public copies of its pseudo-code give them, and of an
// independent simulation of those copies; the standard itself was not at hand.

TEST_CASE("The noise's source goes through every number once a period", "[core][signals]")
{
    CHECK(signals::calibratedPinkPeriodFrames(44100.0) == 524288);
    CHECK(signals::calibratedPinkPeriodFrames(48000.0) == 524288);
    CHECK(signals::calibratedPinkPeriodFrames(88200.0) == 1048576);
    CHECK(signals::calibratedPinkPeriodFrames(96000.0) == 1048576);
    for (const std::size_t period : {std::size_t {524288}, std::size_t {1048576}}) {
        CalibratedPinkSource source(period);
        const std::uint64_t increment = period == 524288 ? 52737 : 163841;
        std::vector<bool> seen(period, false);
        std::uint64_t expected = 0;
        for (std::size_t frame = 0; frame < period; ++frame) {
            expected = (1664525 * expected + increment) % period;
            const std::uint32_t value = source.next();
            REQUIRE(value == expected);
            REQUIRE_FALSE(seen[value]);
            seen[value] = true;
        }
        // Back at the start: 0 was its state at first.
        CHECK(expected == 0);
    }
}

TEST_CASE("Calibrated pink noise has the standard's level, peak and crest", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 88200.0, 96000.0}) {
        CAPTURE(sampleRate);
        const auto period = signals::makeCalibratedPink(sampleRate);
        REQUIRE(period.size() == signals::calibratedPinkPeriodFrames(sampleRate));
        const std::vector<float> samples(period.begin(), period.end());
        // -21.5 dB re 1.0 is -18.5 dBFS by AES17; stated to a tenth.
        CHECK(test::levelDbfs(samples) == Approx(-18.5).margin(0.05));
        const auto [lowest, highest] = std::ranges::minmax(period);
        const double peakDb = 20.0 * std::log10(std::max(highest, -lowest));
        CHECK(peakDb == Approx(-9.5).margin(1e-9));
        // Notes on the standard give 11.5 to 12 dB.
        CHECK(peakDb - (test::levelDbfs(samples) - 3.0103) == Approx(12.0).margin(0.02));
    }
}

TEST_CASE("At 48 kHz calibrated pink noise is that of the simulation", "[core][signals]")
{
    const auto period = signals::makeCalibratedPink(48000.0);
    const std::vector<float> samples(period.begin(), period.end());
    CHECK(test::levelDbfs(samples) - 3.0103 == Approx(-21.494).margin(0.001));
    const double limit = std::pow(10.0, -9.5 / 20.0) - 1e-9;
    CHECK(std::ranges::count_if(period, [limit](double s) { return std::abs(s) >= limit; }) == 7);
}

TEST_CASE("Calibrated pink noise is pink within its band and falls off beyond it",
          "[core][signals]")
{
    const test::ReferenceTable table("third_octave_bands.csv");
    for (const double sampleRate : {44100.0, 48000.0, 88200.0, 96000.0}) {
        CAPTURE(sampleRate);
        const auto period = signals::makeCalibratedPink(sampleRate);
        const std::vector<float> samples(period.begin(), period.end());
        const auto lines = test::lineSpectrum(samples);
        const double binHz = sampleRate / static_cast<double>(samples.size());
        // Equal power per octave between 10 Hz and 22.4 kHz, at -18.5 dBFS.
        const double expectedDb =
            -18.5 + 10.0 * std::log10(0.1 * std::log(10.0) / std::log(22400.0 / 10.0));
        for (std::size_t row = 0; row < table.numRows(); ++row) {
            const double nominalHz = table.number(row, "nominal_hz");
            if (nominalHz < 25.0 || nominalHz > 16000.0)
                continue;
            CAPTURE(nominalHz);
            const double power =
                test::powerBetween(lines, binHz, table.number(row, "lower_edge_hz"),
                                   table.number(row, "upper_edge_hz"));
            // The network itself strays by 0.08 dB; the rest is one period's chance, largest where
            // a band holds few lines.
            CHECK(10.0 * std::log10(2.0 * power)
                  == Approx(expectedDb).margin(nominalHz < 100.0 ? 0.3 : 0.16));
        }
        // Fourth-order Butterworth: 24 dB lower an octave below 10 Hz, beyond the 3 dB of pink.
        const double inBand = test::powerBetween(lines, binHz, 20.0, 40.0);
        const double below = test::powerBetween(lines, binHz, 2.5, 5.0);
        CHECK(10.0 * std::log10(below / inBand) < -24.0);
        if (sampleRate > 50000.0) {
            const double above = test::powerBetween(lines, binHz, 40000.0, 44000.0);
            const double pinkAbove = inBand * std::log2(44000.0 / 40000.0);
            CHECK(10.0 * std::log10(above / pinkAbove) < -18.0);
        }
    }
}
