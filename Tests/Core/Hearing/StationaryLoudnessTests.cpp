#include "Core/Hearing/StationaryLoudness.h"

#include "Support/ReferenceTable.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>

using namespace saddletone;
using hearing::SoundField;
using hearing::stationaryLoudness;
using hearing::ThirdOctaveSpectrum;

namespace {

/** What third-octave filters of third order (Butterworth, as analysers have them) read of a tone:
    the standard's test tones go through filters of this kind, and what they let through in the
    neighbouring bands counts. */
ThirdOctaveSpectrum toneThroughFilters(double frequencyHz, double levelDb)
{
    ThirdOctaveSpectrum levels;
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
        const dsp::Band limits = hearing::thirdOctave(band);
        const double ratio = frequencyHz / limits.centreHz;
        const double detuning =
            (ratio - 1.0 / ratio) * limits.centreHz / (limits.upperHz - limits.lowerHz);
        levels.levelsDb[band] = levelDb - 10.0 * std::log10(1.0 + std::pow(detuning, 6.0));
    }
    return levels;
}

double tonesSones(double frequencyHz, double levelDb)
{
    return stationaryLoudness(toneThroughFilters(frequencyHz, levelDb), SoundField::free)->sones;
}

} // namespace

TEST_CASE("Loudness has the value of ISO 532-1 for its test signal 1", "[core][hearing]")
{
    const test::ReferenceTable table("iso532_1_signal_1.csv");
    const test::ReferenceTable signals("iso532_1_test_signals.csv");
    ThirdOctaveSpectrum sound;
    for (std::size_t row = 0; row < table.numRows(); ++row)
        sound.levelsDb[row + 1] = table.number(row, "level_db");
    const auto loudness = stationaryLoudness(sound, SoundField::free);
    REQUIRE(loudness);
    // The standard's program rounds its critical-band limits; it asks for 5 %.
    CHECK(loudness->sones == Approx(signals.number(0, "sones")).margin(0.005));
    double sum = 0.0;
    for (const double specific : loudness->specificSonesPerBark)
        sum += 0.1 * specific;
    CHECK(sum == Approx(loudness->sones).epsilon(0.02));
}

TEST_CASE("Loudness of tones is within the tolerance of ISO 532-1", "[core][hearing]")
{
    // The standard's clause 5.1: 5 % or 0.1 sone.
    const test::ReferenceTable signals("iso532_1_test_signals.csv");
    for (const std::size_t row : {1U, 2U, 3U}) {
        const double expected = signals.number(row, "sones");
        CAPTURE(row);
        CHECK(tonesSones(signals.number(row, "hz"), signals.number(row, "level_db"))
              == Approx(expected).margin(std::max(0.1, 0.05 * expected)));
    }
}

TEST_CASE("A tone of 1 kHz at 40 dB is 1 sone and doubles with every 10 dB", "[core][hearing]")
{
    // The definition of the sone; 5 % as above.
    CHECK(tonesSones(1000.0, 40.0) == Approx(1.0).epsilon(0.05));
    CHECK(tonesSones(1000.0, 50.0) == Approx(2.0).epsilon(0.05));
    CHECK(tonesSones(1000.0, 60.0) == Approx(4.0).epsilon(0.05));
    CHECK(tonesSones(1000.0, 80.0) == Approx(16.0).epsilon(0.05));
    CHECK(hearing::sonesToPhons(1.0) == Approx(40.0));
    CHECK(hearing::sonesToPhons(4.0) == Approx(60.0));
    CHECK(hearing::sonesToPhons(0.5) == Approx(40.0 * std::pow(0.5005, 0.35)));
}

TEST_CASE("The pattern over critical bands is that of ISO 532-1 for its test signal 2",
          "[core][hearing]")
{
    const test::ReferenceTable table("iso532_1_signal_2_specific.csv");
    const auto loudness = stationaryLoudness(toneThroughFilters(250.0, 80.0), SoundField::free);
    REQUIRE(loudness);
    REQUIRE(table.numRows() == loudness->specificSonesPerBark.size());
    for (std::size_t step = 0; step < table.numRows(); ++step) {
        const double expected = table.number(step, "sone_per_bark");
        CAPTURE(table.number(step, "bark"));
        CHECK(loudness->specificSonesPerBark[step]
              == Approx(expected).margin(std::max(0.1, 0.05 * expected)));
    }
}

TEST_CASE("Silence has no loudness and low levels stay below the threshold", "[core][hearing]")
{
    CHECK(stationaryLoudness({}, SoundField::free)->sones == 0.0);
    CHECK(tonesSones(1000.0, 0.0) == Approx(0.0).margin(1e-3));
    CHECK(tonesSones(100.0, 20.0) == Approx(0.0).margin(1e-3));
}

TEST_CASE("Loudness grows with level and a diffuse field differs from a free one",
          "[core][hearing]")
{
    double before = 0.0;
    for (double level = 10.0; level <= 100.0; level += 5.0) {
        const auto sound = hearing::pinkSpectrum().raisedBy(level);
        const double sones = stationaryLoudness(sound, SoundField::free)->sones;
        CHECK(sones > before);
        before = sones;
    }
    const auto pink = hearing::pinkSpectrum().raisedBy(60.0);
    CHECK(stationaryLoudness(pink, SoundField::diffuse)->sones
          > stationaryLoudness(pink, SoundField::free)->sones);
}

TEST_CASE("Loudness is refused above the levels of its tables", "[core][hearing]")
{
    ThirdOctaveSpectrum sound;
    sound.levelsDb[5] = 120.5;
    const auto loudness = stationaryLoudness(sound, SoundField::free);
    REQUIRE_FALSE(loudness);
    CHECK(loudness.error().code == dsp::ErrorCode::outOfRange);
    CHECK(loudness.error().message.find("63 Hz") != std::string::npos);
}
