#include "Core/Measure/MarkerProposals.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Measure/MarkerSearch.h"
#include "Support/SweepTakes.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

constexpr std::array<dsp::Band, 1> markerBand {dsp::Band {2530.0, 800.0, 8000.0}};

double bandPower(const std::vector<float>& samples, double sampleRate)
{
    const auto power = dsp::welchPowerPerBin(samples, 8192);
    return dsp::bandPowers(power, sampleRate / 8192.0, markerBand).front();
}

/** Noise that falls by 6 dB per octave above 150 Hz, as an engine's does, with a given power in the
    marker's band. */
std::vector<float> engineNoise(std::size_t numFrames, double sampleRate, double powerInBand,
                               std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    std::vector<float> samples(numFrames);
    const double pole = std::exp(-2.0 * std::numbers::pi * 150.0 / sampleRate);
    double state = 0.0;
    for (float& sample : samples) {
        state = pole * state + random.nextUniform() - 0.5;
        sample = static_cast<float>(state);
    }
    const auto gain = static_cast<float>(std::sqrt(powerInBand / bandPower(samples, sampleRate)));
    for (float& sample : samples)
        sample *= gain;
    return samples;
}

double powerOf(const std::vector<double>& samples)
{
    double sum = 0.0;
    for (const double sample : samples)
        sum += sample * sample;
    return sum / static_cast<double>(samples.size());
}

} // namespace

TEST_CASE("A marker is proposed to a tenth of a millisecond at any recorder rate",
          "[core][measure]")
{
    for (const double rate : {44100.0, 48000.0, 96000.0}) {
        const auto marker = signals::makeMarker({}, rate);
        std::vector<float> recording(static_cast<std::size_t>(5.0 * rate));
        for (const double startSeconds : {0.0, 1.2345, 3.9}) {
            std::ranges::fill(recording, 0.0F);
            const auto start = static_cast<std::size_t>(startSeconds * rate);
            for (std::size_t frame = 0; frame < marker.size(); ++frame)
                recording[start + frame] = static_cast<float>(marker[frame]);
            dsp::FftStore transforms;
            const auto peaks = measure::proposeMarkers(recording, rate, {}, transforms);
            REQUIRE_FALSE(peaks.empty());
            INFO(rate << " Hz, " << startSeconds << " s, correlation " << peaks[0].correlation);
            CHECK(std::abs(static_cast<double>(peaks[0].frame) / rate - startSeconds) < 1e-4);
            CHECK(peaks[0].correlation > 0.75);
            CHECK(peaks[0].correlation < 1.01);
        }
    }
}

TEST_CASE("Forty markers 5 dB below engine noise in their band are all proposed, and little else",
          "[core][measure]")
{
    constexpr double rate = 48000.0;
    constexpr std::size_t apart = 54321;
    const auto marker = signals::makeMarker({}, rate);
    auto recording = engineNoise(41 * apart + 1, rate, powerOf(marker) * std::pow(10.0, 0.5), 7);
    for (std::size_t repeat = 0; repeat < 40; ++repeat)
        for (std::size_t frame = 0; frame < marker.size(); ++frame)
            recording[repeat * apart + 20000 + frame] += static_cast<float>(marker[frame]);
    dsp::FftStore transforms;
    const auto peaks = measure::proposeMarkers(recording, rate, {}, transforms);
    for (std::size_t repeat = 0; repeat < 40; ++repeat)
        CHECK(std::ranges::any_of(peaks, [&](const measure::MarkerPeak& peak) {
            return std::abs(static_cast<double>(peak.frame)
                            - static_cast<double>(repeat * apart + 20000))
                   < 1e-4 * rate;
        }));
    CHECK(peaks.size() <= 45);
}

TEST_CASE("Of peaks close together the highest is kept", "[core][measure]")
{
    const auto kept =
        measure::keepHighest({{100, 0.3}, {150, 0.5}, {190, 0.4}, {400, 0.2}, {900, 0.25}}, 100, 2);
    REQUIRE(kept.size() == 2);
    CHECK(kept[0].frame == 150);
    CHECK(kept[1].frame == 900);
}

TEST_CASE("A track late in ten minutes of engine noise is found", "[core][measure]")
{
    constexpr double rate = 44100.0;
    const auto track = test::makeSweepTrack(6.0, rate);
    const auto& layout = *track.description.sweepLayout;
    const auto marker = signals::makeMarker(layout.marker, rate);
    constexpr std::size_t start = 577 * 44100 + 11;
    auto recording = engineNoise(600 * 44100, rate, powerOf(marker) * std::pow(10.0, 0.5), 11);
    const auto& played = track.audio.channels.front();
    REQUIRE(start + played.size() < recording.size());
    for (std::size_t frame = 0; frame < played.size(); ++frame)
        recording[start + frame] += played[frame];
    dsp::FftStore transforms;
    const auto pairs =
        measure::findAllMarkers(recording, rate, track.description, "ten minutes", transforms);
    REQUIRE(pairs);
    REQUIRE(pairs->size() == 1);
    CHECK(std::abs(static_cast<double>(pairs->front().firstFrame)
                   - static_cast<double>(start + layout.firstMarkerFrame))
          <= 1.0);
    // At -5 dB the lag of two markers is uncertain by some hundredths of a frame in 340000.
    CHECK(std::abs(pairs->front().clockPpm) < 1.0);
}
