#include "Core/Signals/Multitone.h"

#include "Core/Dsp/RandomSource.h"
#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

using namespace saddletone;
using signals::MultitoneShape;
using signals::SignalTone;

namespace {

double crestDb(const std::vector<double>& samples)
{
    double peak = 0.0;
    double sum = 0.0;
    for (const double sample : samples) {
        peak = std::max(peak, std::abs(sample));
        sum += sample * sample;
    }
    return 20.0 * std::log10(peak / std::sqrt(sum / static_cast<double>(samples.size())));
}

/** Lowest crest factor of so many choices of random phases. */
double lowestRandomCrestDb(std::vector<SignalTone> tones, std::size_t periodFrames, int numChoices)
{
    dsp::RandomSource random(5);
    double lowest = 100.0;
    for (int choice = 0; choice < numChoices; ++choice) {
        for (SignalTone& tone : tones)
            tone.phaseRadians = 2.0 * std::numbers::pi * random.nextUniform();
        lowest = std::min(lowest, crestDb(signals::makeMultitone(tones, periodFrames)));
    }
    return lowest;
}

} // namespace

TEST_CASE("A multitone is the sum of the cosines it states", "[core][signals]")
{
    const std::vector<SignalTone> tones {{3, -20.0, 0.5}, {17, -26.0, -2.0}};
    const auto period = signals::makeMultitone(tones, 480);
    REQUIRE(period.size() == 480);
    for (std::size_t frame = 0; frame < period.size(); ++frame) {
        const double turns = 2.0 * std::numbers::pi * static_cast<double>(frame) / 480.0;
        const double expected = 0.1 * std::cos(3.0 * turns + 0.5)
                                + std::pow(10.0, -26.0 / 20.0) * std::cos(17.0 * turns - 2.0);
        REQUIRE(period[frame] == Approx(expected).margin(1e-12));
    }
}

TEST_CASE("A multitone's crest factor is far below that of random phases", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 88200.0, 96000.0}) {
        CAPTURE(sampleRate);
        const std::size_t period = sampleRate > 50000.0 ? 65536 : 32768;
        const auto tones = signals::chooseTones({.sampleRate = sampleRate, .periodFrames = period});
        const double crest = crestDb(signals::makeMultitone(tones, period));
        // 8.4 to 8.9 dB when this was written; the best of 40 choices of random phases 11.5.
        CHECK(crest < 9.1);
        CHECK(lowestRandomCrestDb(tones, period, 40) > crest + 2.3);
        // What a player's converter makes of it between the samples hardly stands out further.
        std::vector<SignalTone> finer = tones;
        CHECK(crestDb(signals::makeMultitone(finer, 4 * period)) < 9.2);
    }
}

TEST_CASE("Tones stand within half a cycle of their centres and share the power", "[core][signals]")
{
    for (const int tonesPerOctave : {3, 6, 12, 24}) {
        const MultitoneShape shape {.tonesPerOctave = tonesPerOctave};
        const auto tones = signals::chooseTones(shape);
        const double binHz = shape.sampleRate / static_cast<double>(shape.periodFrames);
        double power = 0.0;
        for (const SignalTone& tone : tones) {
            power += std::pow(10.0, tone.levelDbfs / 10.0);
            // Centres by IEC 61260-1: G^(x/b) at odd b, G^((2x+1)/2b) at even b, from 1 kHz.
            const double steps =
                std::log10(static_cast<double>(tone.cyclesPerPeriod) * binHz / 1000.0)
                / (0.3 / tonesPerOctave);
            const double shift = tonesPerOctave % 2 == 0 ? 0.5 : 0.0;
            const double centreHz =
                1000.0 * std::pow(10.0, 0.3 / tonesPerOctave * (std::round(steps - shift) + shift));
            const double offset =
                std::abs(static_cast<double>(tone.cyclesPerPeriod) - centreHz / binHz);
            CHECK(offset <= 0.5);
        }
        CHECK(10.0 * std::log10(power) == Approx(-20.0).margin(1e-9));
    }
    CHECK(signals::chooseTones({.tonesPerOctave = 3}).size() == 29);
}

TEST_CASE("Every third octave of a multitone holds the same power", "[core][signals]")
{
    const auto tones = signals::chooseTones({.periodFrames = 65536});
    const auto period = signals::makeMultitone(tones, 65536);
    const std::vector<float> samples(period.begin(), period.end());
    const auto lines = test::lineSpectrum(samples);
    const double binHz = 48000.0 / 65536.0;
    const test::ReferenceTable table("third_octave_bands.csv");
    const double expectedDb = -20.0 - 10.0 * std::log10(29.0);
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        const double nominalHz = table.number(row, "nominal_hz");
        if (nominalHz < 80.0 || nominalHz > 16000.0)
            continue; // below, a tone moved to a whole cycle may change the band
        CAPTURE(nominalHz);
        const double power = test::powerBetween(lines, binHz, table.number(row, "lower_edge_hz"),
                                                table.number(row, "upper_edge_hz"));
        CHECK(10.0 * std::log10(2.0 * power) == Approx(expectedDb).margin(0.6));
    }
}

TEST_CASE("Limits without a centre give no tones", "[core][signals]")
{
    CHECK(signals::chooseTones({.tonesPerOctave = 3, .fromHz = 1100.0, .toHz = 1150.0}).empty());
}
