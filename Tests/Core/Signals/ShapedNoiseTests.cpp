#include "Core/Signals/ShapedNoise.h"

#include "Core/Dsp/Units.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

using namespace saddletone;
using signals::NoiseColour;

namespace {

double lineLevelDb(const std::vector<double>& lines, double binHz, double fromHz, double toHz)
{
    return dsp::powerToDb(test::powerBetween(lines, binHz, fromHz, toHz));
}

} // namespace

TEST_CASE("White noise has the same power in every hertz", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 88200.0, 96000.0}) {
        constexpr std::size_t numFrames = 1U << 18U;
        const auto noise = signals::makeShapedNoise(
            {.colour = NoiseColour::white, .sampleRate = sampleRate, .rms = 0.1}, numFrames);
        const auto lines = test::lineSpectrum(noise);
        const double binHz = sampleRate / static_cast<double>(numFrames);
        const double toHz = std::min(22400.0, 0.5 * sampleRate);
        const double perHertzDb = dsp::powerToDb(0.01 / (toHz - 10.0));
        for (double fromHz = 500.0; fromHz + 1000.0 < toHz; fromHz += 1000.0)
            CHECK(lineLevelDb(lines, binHz, fromHz, fromHz + 1000.0)
                  == Approx(perHertzDb + 30.0).margin(0.02));
    }
}

TEST_CASE("Pink noise has the same power in every octave", "[core][signals]")
{
    constexpr std::size_t numFrames = 1U << 19U;
    const auto noise = signals::makeShapedNoise({.rms = 0.1}, numFrames);
    const auto lines = test::lineSpectrum(noise);
    const double binHz = 48000.0 / static_cast<double>(numFrames);
    // Power between 10 Hz and 22.4 kHz goes by the logarithm of the band's ratio.
    const double octaveDb = dsp::powerToDb(0.01 * std::log(2.0) / std::log(22400.0 / 10.0));
    for (double fromHz = 20.0; fromHz < 10000.0; fromHz *= 2.0)
        CHECK(lineLevelDb(lines, binHz, fromHz, 2.0 * fromHz) == Approx(octaveDb).margin(0.05));
}

TEST_CASE("Outside its band limits noise holds nothing", "[core][signals]")
{
    constexpr std::size_t numFrames = 1U << 17U;
    for (const auto colour : {NoiseColour::white, NoiseColour::pink}) {
        const auto noise = signals::makeShapedNoise(
            {.colour = colour, .fromHz = 300.0, .toHz = 5000.0, .rms = 0.1}, numFrames);
        const auto lines = test::lineSpectrum(noise);
        const double binHz = 48000.0 / static_cast<double>(numFrames);
        CHECK(lineLevelDb(lines, binHz, 301.0, 4999.0) == Approx(-20.0).margin(0.05));
        // What is left is the rounding of 32-bit samples. Nothing outside also means that the end
        // joins the start without a step.
        CHECK(lineLevelDb(lines, binHz, 0.0, 299.0) < -140.0);
        CHECK(lineLevelDb(lines, binHz, 5001.0, 24000.0) < -140.0);
    }
}

TEST_CASE("The RMS of noise is met exactly at any length", "[core][signals]")
{
    for (const std::size_t numFrames :
         {std::size_t {4800}, std::size_t {48001}, std::size_t {99991}})
        for (const double rms : {0.25, 0.001}) {
            const auto noise = signals::makeShapedNoise({.rms = rms}, numFrames);
            REQUIRE(noise.size() == numFrames);
            CHECK(std::sqrt(test::meanSquare(noise)) == Approx(rms).epsilon(1e-6));
        }
}

TEST_CASE("A seed decides the samples", "[core][signals]")
{
    const auto first = signals::makeShapedNoise({.seed = 4}, 9600);
    CHECK(first == signals::makeShapedNoise({.seed = 4}, 9600));
    const auto other = signals::makeShapedNoise({.seed = 5}, 9600);
    CHECK(first != other);
    double product = 0.0;
    for (std::size_t frame = 0; frame < first.size(); ++frame)
        product += static_cast<double>(first[frame]) * static_cast<double>(other[frame]);
    // Not a turned or shifted copy: the correlation is that of unrelated noise.
    CHECK(std::abs(product / 9600.0 / 0.01) < 0.3);
}

TEST_CASE("A band too narrow to hold a line is silent, and the shortest noise finite",
          "[core][signals]")
{
    // The lines of 480 frames lie 100 Hz apart. Silence, not a division by zero.
    const auto silence = signals::makeShapedNoise({.fromHz = 110.0, .toHz = 120.0}, 480);
    CHECK(std::ranges::all_of(silence, [](float sample) { return sample == 0.0F; }));
    for (const float sample : signals::makeShapedNoise({}, 2))
        CHECK(std::isfinite(sample));
}
