#include "Core/Signals/Tones.h"

#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

using namespace saddletone;

namespace {

std::vector<float> floats(const std::vector<double>& samples)
{
    return {samples.begin(), samples.end()};
}

} // namespace

TEST_CASE("A tone has its frequency and between its fades its level", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        const auto numFrames = static_cast<std::size_t>(sampleRate);
        const auto fadeFrames = numFrames / 10;
        const auto tone = signals::makeTone({.frequencyHz = 1000.0,
                                             .amplitude = 0.1,
                                             .numFrames = numFrames,
                                             .fadeFrames = fadeFrames},
                                            sampleRate);
        REQUIRE(tone.size() == numFrames);
        const auto held = std::span(tone).subspan(fadeFrames, numFrames - 2 * fadeFrames);
        CHECK(test::normalisedFrequencyOf(held) * sampleRate == Approx(1000.0).epsilon(1e-9));
        const std::vector<float> heldFloats(held.begin(), held.end());
        // AES17: a sine of amplitude 0.1 reads -20 dBFS.
        CHECK(test::levelDbfs(heldFloats) == Approx(-20.0).margin(1e-4));
        CHECK(std::abs(tone.front()) < 1e-6);
        CHECK(std::abs(tone.back()) < 1e-5);
    }
}

TEST_CASE("A warble keeps to its third octave, fills it and has the level of a sine",
          "[core][signals]")
{
    // Edges from the table of IEC 61260-1.
    const test::ReferenceTable table("third_octave_bands.csv");
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        const double nominalHz = table.number(row, "nominal_hz");
        if (nominalHz < 25.0 || nominalHz > 16000.0)
            continue;
        CAPTURE(nominalHz);
        const double fromHz = table.number(row, "lower_edge_hz");
        const double toHz = table.number(row, "upper_edge_hz");
        const auto warble = floats(signals::makeWarble({.fromHz = fromHz,
                                                        .toHz = toHz,
                                                        .amplitude = 0.1,
                                                        .numFrames = 192000,
                                                        .fadeFrames = 4800},
                                                       48000.0));
        const auto held = std::span(warble).subspan(4800, 192000 - 9600);
        CHECK(test::levelDbfs(held) == Approx(-20.0).margin(0.01));
        const auto lines = test::lineSpectrum(warble);
        constexpr double binHz = 0.25;
        const double whole = test::powerBetween(lines, binHz, 0.0, 24000.0);
        // Next to nothing falls into the neighbours: 0.1 dB.
        CHECK(test::powerBetween(lines, binHz, fromHz, toHz) > 0.977 * whole);
        // And it is no tone: each third of the band holds a fair share.
        const double ratio = std::cbrt(toHz / fromHz);
        for (double part : {0.0, 1.0, 2.0}) {
            const double share = test::powerBetween(lines, binHz, fromHz * std::pow(ratio, part),
                                                    fromHz * std::pow(ratio, part + 1.0));
            CHECK(share > 0.15 * whole);
        }
    }
}

TEST_CASE("A warble swings a few times a second, more slowly in narrow bands", "[core][signals]")
{
    CHECK(signals::warbleRateHz({.fromHz = 891.251, .toHz = 1122.018}) == 4.0);
    CHECK(signals::warbleRateHz({.fromHz = 22.3872, .toHz = 28.1838})
          == Approx((28.1838 - 22.3872) / 8.0));
    // Frequency between zero crossings of one swing: up and down again, within the band.
    const auto warble = signals::makeWarble({.numFrames = 48000, .fadeFrames = 480}, 48000.0);
    double lowestHz = 1e9;
    double highestHz = 0.0;
    for (std::size_t frame = 960; frame + 960 < 48000; frame += 240) {
        const double hz =
            test::normalisedFrequencyOf(std::span(warble).subspan(frame, 240)) * 48000.0;
        lowestHz = std::min(lowestHz, hz);
        highestHz = std::max(highestHz, hz);
    }
    CHECK(lowestHz == Approx(891.251).epsilon(0.02));
    CHECK(highestHz == Approx(1122.018).epsilon(0.02));
    CHECK(lowestHz > 891.251);
    CHECK(highestHz < 1122.018);
}
