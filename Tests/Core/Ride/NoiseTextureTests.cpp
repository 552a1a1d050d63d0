#include "Core/Ride/NoiseTexture.h"

#include "Core/Dsp/Units.h"
#include "Support/AllocationCounter.h"
#include "Support/EarRendering.h"
#include "Support/LockCounter.h"
#include "Support/RecordedNoiseFixture.h"
#include "Support/SignalMeasures.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using ride::NoiseTexture;
using test::Ears;
using test::render;

namespace {

/** Noise without tones and fluctuation. */
ride::RecordedNoise steadyNoise(double coherence, double phaseRadians)
{
    auto noise = test::recordedNoise();
    noise.recordings.pop_back();
    ride::NoiseState& state = noise.recordings.front().state;
    state.fluctuation = {};
    state.numTones = 0;
    state.coherence.fill(coherence);
    state.coherencePhaseRadians.fill(phaseRadians);
    return noise;
}

NoiseTexture prepared(std::uint64_t seed, const ride::RecordedNoise& noise,
                      double sampleRate = 48000.0, double speedKmh = 100.0)
{
    NoiseTexture texture(noise, seed);
    texture.setParameters({speedKmh});
    texture.prepare({sampleRate, 4096, 2});
    return texture;
}

} // namespace

TEST_CASE("A texture has the third octaves of its model at every sample rate", "[core][ride]")
{
    const auto noise = test::recordedNoise();
    const auto wanted = ride::thirdOctaveLevelsDbfs(noise.recordings.front().state, 0);
    const auto bands = dsp::thirdOctaveBands();
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        auto texture = prepared(21, noise, sampleRate, 80.0);
        const auto ears = render(texture, static_cast<std::size_t>(120.0 * sampleRate), {4096});
        const auto lines = test::lineSpectrum(ears[0]);
        for (std::size_t band = 1; band < bands.size(); ++band) {
            CAPTURE(sampleRate, bands[band].centreHz);
            const double power =
                test::powerBetween(lines, 1.0 / 120.0, bands[band].lowerHz, bands[band].upperHz);
            // Two minutes of 25 Hz, 6 Hz wide, under gusts of 2.4 dB have a standard deviation of
            // 0.25 dB.
            CHECK(dsp::powerToDb(2.0 * power) == Approx(wanted[band]).margin(0.8));
        }
    }
}

TEST_CASE("A texture is the same for a seed and another for another", "[core][ride]")
{
    auto first = prepared(5, test::recordedNoise());
    auto second = prepared(5, test::recordedNoise());
    auto other = prepared(6, test::recordedNoise());
    const auto samples = render(first, 60000);
    CHECK(samples == render(second, 60000));
    CHECK(samples != render(other, 60000));
}

TEST_CASE("A texture does not depend on how the stream is cut", "[core][ride]")
{
    for (const double sampleRate : {44100.0, 48000.0}) {
        auto whole = prepared(7, test::recordedNoise(), sampleRate);
        const auto expected = render(whole, 80000, {4096});
        for (const auto& blocks :
             {std::vector<std::size_t> {1}, std::vector<std::size_t> {0, 17, 4096, 1, 333, 0, 2048},
              std::vector<std::size_t> {4095}, std::vector<std::size_t> {64}}) {
            auto cut = prepared(7, test::recordedNoise(), sampleRate);
            CHECK(render(cut, 80000, blocks) == expected);
        }
    }
}

TEST_CASE("A texture can be entered anywhere", "[core][ride]")
{
    for (const double sampleRate : {44100.0, 48000.0}) {
        auto whole = prepared(8, test::recordedNoise(), sampleRate);
        const auto all = render(whole, 160000);
        for (const std::size_t skipped :
             {std::size_t {1}, std::size_t {4096}, std::size_t {12345}, std::size_t {100001}}) {
            auto texture = prepared(8, test::recordedNoise(), sampleRate);
            const auto before = render(texture, 1000);
            texture.skip(skipped);
            const auto after = render(texture, 50000);
            for (std::size_t ear = 0; ear < 2; ++ear) {
                const auto start = all[ear].begin() + static_cast<std::ptrdiff_t>(1000 + skipped);
                CHECK(std::equal(before[ear].begin(), before[ear].end(), all[ear].begin()));
                CHECK(std::equal(after[ear].begin(), after[ear].end(), start));
            }
        }
    }
}

TEST_CASE("A texture sought to a frame is as if the speed had always been the present one",
          "[core][ride]")
{
    auto whole = prepared(16, test::recordedNoise());
    const auto all = render(whole, 120000);
    auto texture = prepared(16, test::recordedNoise(), 48000.0, 80.0);
    (void)render(texture, 50000);
    texture.setParameters({100.0});
    texture.seek(54321);
    const auto after = render(texture, 60000);
    for (std::size_t ear = 0; ear < 2; ++ear)
        CHECK(std::equal(after[ear].begin(), after[ear].end(), all[ear].begin() + 54321));
}

TEST_CASE("A texture that was reset is as fresh", "[core][ride]")
{
    auto texture = prepared(9, test::recordedNoise());
    const auto fresh = render(texture, 40000);
    texture.setParameters({120.0});
    (void)render(texture, 40000);
    texture.setParameters({100.0});
    texture.reset();
    CHECK(render(texture, 40000) == fresh);
    texture.skip(777);
    texture.prepare({48000.0, 4096, 2});
    CHECK(render(texture, 40000) == fresh);
}

TEST_CASE("The ears of a texture have the coherence and phase of the model", "[core][ride]")
{
    auto texture = prepared(10, steadyNoise(0.7, -0.5));
    const auto ears = render(texture, 48000 * 60);
    // Correlation of the ears, which at equal phase in all bands is coherence times cosine.
    double product = 0.0;
    for (std::size_t frame = 0; frame < ears[0].size(); ++frame)
        product += static_cast<double>(ears[0][frame]) * static_cast<double>(ears[1][frame]);
    product /= static_cast<double>(ears[0].size());
    const double left = test::meanSquare(ears[0]);
    const double right = test::meanSquare(ears[1]);
    CHECK(product / std::sqrt(left * right) == Approx(0.7 * std::cos(0.5)).margin(0.03));
    CHECK(dsp::powerToDb(left / right) == Approx(0.0).margin(0.3));
}

TEST_CASE("Steady texture has the distribution of noise and one level all along", "[core][ride]")
{
    auto texture = prepared(11, steadyNoise(0.0, 0.0));
    const auto ears = render(texture, 48000 * 120);
    CHECK(test::distanceFromNormal(ears[0]) < 0.01);
    // Segments of 2^15 frames cross over with sine windows, whose squares add up to one.
    constexpr std::size_t hop = 16384;
    std::array<double, 8> power {};
    for (std::size_t frame = 0; frame < ears[0].size(); ++frame)
        power[(frame % hop) * 8 / hop] +=
            static_cast<double>(ears[0][frame]) * static_cast<double>(ears[0][frame]);
    const auto [lowest, highest] = std::ranges::minmax(power);
    // 15 s of noise some 100 Hz wide each: a standard deviation of 0.11 dB, eight of them.
    CHECK(dsp::powerToDb(highest / lowest) < 0.7);
}

TEST_CASE("The level of a texture fluctuates as the model says", "[core][ride]")
{
    auto noise = steadyNoise(0.0, 0.0);
    ride::NoiseState& state = noise.recordings.front().state;
    // Wide noise, whose own level hardly moves: white has 1/sqrt(B T) = 0.09 dB of chance.
    for (std::size_t band = 0; band < ride::numNoiseBands; ++band)
        for (auto& ear : state.noiseDbfs)
            ear[band] = -50.0 + 0.25 * static_cast<double>(band);
    state.fluctuation.variancesDb2[7] = 5.0;
    state.fluctuation.variancesDb2[5] = 4.0;
    auto texture = prepared(12, noise);
    constexpr std::size_t block = 6000;
    constexpr std::size_t numBlocks = 8 * 600;
    const auto ears = render(texture, block * numBlocks, {4096});
    std::vector<double> levels;
    double mean = 0.0;
    for (std::size_t begin = 0; begin < ears[0].size(); begin += block) {
        levels.push_back(test::levelDbfs(std::span(ears[0]).subspan(begin, block)));
        mean += levels.back() / static_cast<double>(numBlocks);
    }
    double variance = 0.0;
    for (const double level : levels)
        variance += (level - mean) * (level - mean) / static_cast<double>(numBlocks);
    CHECK(std::sqrt(variance) == Approx(3.0).margin(0.15));
    // The mean power is that of the bands.
    double expected = 0.0;
    for (const double levelDbfs : state.noiseDbfs[0])
        expected += dsp::dbToPower(levelDbfs);
    CHECK(test::levelDbfs(ears[0]) == Approx(dsp::powerToDb(expected)).margin(0.3));
}

TEST_CASE("Tones of a texture glide with speed without a click", "[core][ride]")
{
    auto noise = test::recordedNoise();
    for (auto& recording : noise.recordings) {
        for (auto& ear : recording.state.noiseDbfs)
            ear.fill(dsp::silenceDb);
        recording.state.numTones = 1;
        recording.state.tones[0].levelDeviationDb = 0.0;
        recording.state.tones[0].glideProportion = 0.0;
        recording.state.tones[0].levelsDbfs = {-20.0, -20.0};
    }
    noise.recordings.back().state.tones[0].phaseDifferenceRadians = -1.2;
    auto texture = prepared(13, noise, 48000.0, 80.0);
    const auto before = render(texture, 48000);
    texture.setParameters({120.0});
    const auto after = render(texture, 96000);
    // A sine of amplitude 0.1 at up to 135 Hz moves by at most 0.1 * 2 pi 135 / 48000 a frame.
    const double largest = 0.1 * 2.0 * std::numbers::pi * 135.0 / 48000.0;
    for (std::size_t ear = 0; ear < 2; ++ear) {
        float last = before[ear].back();
        double step = 0.0;
        for (const float sample : after[ear]) {
            step = std::max(step, static_cast<double>(std::abs(sample - last)));
            last = sample;
        }
        // The right ear's phase moves within 5 ms, which adds 0.1 * 1.5 / 256 a frame.
        CHECK(step < (ear == 0 ? 1.05 : 1.4) * largest);
    }
    const std::vector<double> end(after[0].end() - 20000, after[0].end());
    CHECK(test::normalisedFrequencyOf(end) * 48000.0 == Approx(135.0).margin(0.1));
}

TEST_CASE("A texture is finite and does not repeat after hours", "[core][ride]")
{
    auto texture = prepared(14, test::recordedNoise());
    const auto first = render(texture, 48000);
    texture.skip(std::size_t {48000} * 3600 * 24);
    const auto later = render(texture, 48000);
    double product = 0.0;
    for (std::size_t frame = 0; frame < first[0].size(); ++frame) {
        CHECK(std::isfinite(later[0][frame]));
        product += static_cast<double>(first[0][frame]) * static_cast<double>(later[0][frame]);
    }
    product /= 48000.0 * std::sqrt(test::meanSquare(first[0]) * test::meanSquare(later[0]));
    CHECK(std::abs(product) < 0.3);
}

TEST_CASE("A texture stays finite at any speed it is told", "[core][ride]")
{
    auto texture = prepared(17, test::recordedNoise());
    for (const double speedKmh :
         {-1e300, 0.0, std::nan(""), 1e300, std::numeric_limits<double>::infinity(), 100.0}) {
        texture.setParameters({speedKmh});
        const auto ears = render(texture, 40000);
        CHECK(std::ranges::all_of(ears[0], [](float sample) { return std::isfinite(sample); }));
        CHECK(std::ranges::all_of(ears[1], [](float sample) { return std::isfinite(sample); }));
        CHECK(test::levelDbfs(ears[0]) > -60.0);
    }
}

TEST_CASE("A silent model gives silence", "[core][ride]")
{
    auto noise = steadyNoise(0.0, 0.0);
    for (auto& ear : noise.recordings.front().state.noiseDbfs)
        ear.fill(dsp::silenceDb);
    auto texture = prepared(18, noise);
    const auto ears = render(texture, 40000);
    // -400 dB in each of 124 bands.
    CHECK(test::meanSquare(ears[0]) < 1e-30);
}

TEST_CASE("Making a texture takes no memory and no lock", "[core][ride]")
{
    auto texture = prepared(15, test::recordedNoise());
    std::vector<float> left(4096);
    std::vector<float> right(4096);
    const std::array<float*, 2> pointers {left.data(), right.data()};
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    for (int block = 0; block < 60; ++block) {
        texture.process({pointers.data(), 2, static_cast<std::size_t>(block * 68)});
        texture.setParameters({70.0 + block});
        texture.skip(static_cast<std::size_t>(block));
    }
    texture.reset();
    texture.process({pointers.data(), 2, 4096});
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
}
