#include "Core/Ride/WindNoise.h"

#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"
#include "Core/Ride/WindModel.h"
#include "Support/AllocationCounter.h"
#include "Support/EarRendering.h"
#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

using namespace saddletone;
using ride::Helmet;
using ride::WindNoise;
using test::Ears;
using test::render;

namespace {

WindNoise prepared(std::uint64_t seed, double sampleRate = 48000.0,
                   Helmet helmet = Helmet::fullFace)
{
    WindNoise noise(seed);
    noise.setParameters({helmet});
    noise.prepare({sampleRate, 4096, 2});
    return noise;
}

double aWeightedDbfs(const std::vector<double>& lines, double binHz)
{
    double power = 0.0;
    for (std::size_t bin = 1; bin < lines.size(); ++bin)
        power +=
            lines[bin]
            * dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, static_cast<double>(bin) * binHz));
    return dsp::powerToDb(2.0 * power);
}

std::string columnOf(Helmet helmet)
{
    switch (helmet) {
    case Helmet::fullFace: return "full_face_db";
    case Helmet::openFace: return "open_face_db";
    case Helmet::none: break;
    }
    return "bare_head_db";
}

} // namespace

TEST_CASE("A minute of wind noise has its A-weighted level and octave spectrum", "[core][ride]")
{
    const test::ReferenceTable table("road_noise_default_spectrum.csv");
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0})
        for (const Helmet helmet : ride::allHelmets) {
            // The other helmets differ in the spectrum alone, which one rate shows.
            if (helmet != Helmet::fullFace && sampleRate != 48000.0)
                continue;
            auto noise = prepared(21, sampleRate, helmet);
            const auto ears = render(noise, static_cast<std::size_t>(60.0 * sampleRate));
            for (const auto& ear : ears) {
                const auto lines = test::lineSpectrum(ear);
                const double binHz = 1.0 / 60.0;
                CAPTURE(sampleRate, ride::helmetName(helmet));
                CHECK(aWeightedDbfs(lines, binHz) == Approx(0.0).margin(0.15));
                for (std::size_t octave = 0; octave < table.numRows(); ++octave) {
                    const double centreHz = table.number(octave, "octave_hz");
                    CAPTURE(centreHz);
                    // A minute of the lowest octave has a standard deviation of 0.12 dB.
                    CHECK(dsp::powerToDb(2.0
                                         * test::powerBetween(lines, binHz,
                                                              centreHz / std::numbers::sqrt2,
                                                              centreHz * std::numbers::sqrt2))
                          == Approx(table.number(octave, columnOf(helmet))).margin(0.5));
                }
            }
        }
}

TEST_CASE("Wind noise is the same for a seed and another for another", "[core][ride]")
{
    auto first = prepared(5);
    auto second = prepared(5);
    auto other = prepared(6);
    const auto samples = render(first, 30000);
    CHECK(samples == render(second, 30000));
    CHECK(samples != render(other, 30000));
}

TEST_CASE("Wind noise does not depend on how the stream is cut", "[core][ride]")
{
    auto whole = prepared(7);
    const auto expected = render(whole, 60000, {4096});
    for (const auto& blocks :
         {std::vector<std::size_t> {1}, std::vector<std::size_t> {0, 17, 4096, 1, 333, 0, 2048},
          std::vector<std::size_t> {4095}, std::vector<std::size_t> {64}}) {
        auto cut = prepared(7);
        CHECK(render(cut, 60000, blocks) == expected);
    }
}

TEST_CASE("Wind noise that was skipped is the noise that was not heard", "[core][ride]")
{
    auto whole = prepared(8);
    const auto all = render(whole, 100000);
    for (const std::size_t skipped :
         {std::size_t {1}, std::size_t {4096}, std::size_t {12345}, std::size_t {70000}}) {
        auto noise = prepared(8);
        const auto before = render(noise, 1000);
        noise.skip(skipped);
        const auto after = render(noise, 20000);
        for (std::size_t ear = 0; ear < 2; ++ear) {
            const auto start = all[ear].begin() + static_cast<std::ptrdiff_t>(1000 + skipped);
            CHECK(std::equal(before[ear].begin(), before[ear].end(), all[ear].begin()));
            CHECK(std::equal(after[ear].begin(), after[ear].end(), start));
        }
    }
}

TEST_CASE("Wind noise that was reset is as fresh", "[core][ride]")
{
    auto noise = prepared(9);
    const auto fresh = render(noise, 20000);
    noise.reset();
    CHECK(render(noise, 20000) == fresh);
    noise.skip(777);
    noise.prepare({48000.0, 4096, 2});
    CHECK(render(noise, 20000) == fresh);
}

TEST_CASE("The ears hear unrelated noise of the same level", "[core][ride]")
{
    auto noise = prepared(10);
    const auto ears = render(noise, 48000 * 60);
    double product = 0.0;
    for (std::size_t frame = 0; frame < ears[0].size(); ++frame)
        product += static_cast<double>(ears[0][frame]) * static_cast<double>(ears[1][frame]);
    product /= static_cast<double>(ears[0].size());
    const double left = test::meanSquare(ears[0]);
    const double right = test::meanSquare(ears[1]);
    // The noise is some 250 Hz wide, so a minute holds 30000 independent values: 0.6 % by chance.
    CHECK(std::abs(product / std::sqrt(left * right)) < 0.03);
    CHECK(dsp::powerToDb(left / right) == Approx(0.0).margin(0.3));
}

TEST_CASE("Wind noise has the distribution of noise", "[core][ride]")
{
    for (const Helmet helmet : ride::allHelmets) {
        auto noise = prepared(11, 48000.0, helmet);
        const auto ears = render(noise, 48000 * 60);
        for (const auto& ear : ears)
            CHECK(test::distanceFromNormal(ear) < 0.01);
    }
}

TEST_CASE("Wind noise keeps its level all along a segment", "[core][ride]")
{
    // Segments cross over with sine windows, whose squares add up to one. Held at every eighth of
    // a segment, averaged over many.
    auto noise = prepared(12);
    constexpr std::size_t hop = 4096; // half of 0.16 s at 48 kHz, rounded up to a power of two
    constexpr std::size_t numHops = 2000;
    const auto ears = render(noise, hop * numHops);
    std::array<double, 8> power {};
    for (std::size_t frame = 0; frame < ears[0].size(); ++frame)
        power[(frame % hop) * 8 / hop] +=
            static_cast<double>(ears[0][frame]) * static_cast<double>(ears[0][frame]);
    const auto [lowest, highest] = std::ranges::minmax(power);
    CHECK(dsp::powerToDb(highest / lowest) < 0.5);
}

TEST_CASE("A helmet that is taken off is heard within a tenth of a second", "[core][ride]")
{
    auto noise = prepared(13);
    (void)render(noise, 10000);
    noise.setParameters({Helmet::none});
    (void)render(noise, 2 * 4800 + 4096);
    const auto ears = render(noise, 48000 * 20);
    const auto lines = test::lineSpectrum(ears[0]);
    const double octave4k = dsp::powerToDb(2.0 * test::powerBetween(lines, 0.05, 2828.4, 5656.9));
    // -17.6 dB for a bare head against -27.6 dB under a full-face helmet.
    CHECK(octave4k == Approx(-17.6).margin(0.5));
}

TEST_CASE("Making wind noise takes no memory", "[core][ride]")
{
    auto noise = prepared(14);
    std::vector<float> left(4096);
    std::vector<float> right(4096);
    const std::array<float*, 2> pointers {left.data(), right.data()};
    const test::AllocationCounter counter;
    for (int block = 0; block < 50; ++block) {
        noise.process({pointers.data(), 2, static_cast<std::size_t>(block * 80)});
        noise.setParameters({ride::allHelmets[static_cast<std::size_t>(block) % 3]});
        noise.skip(static_cast<std::size_t>(block));
    }
    noise.reset();
    noise.process({pointers.data(), 2, 4096});
    CHECK(counter.numHeapCalls() == 0);
}
