#include "Core/Ride/NoiseAnalysis.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

constexpr double rate = 48000.0;

/** White noise of RMS 0.05 at each ear: of a part that both share and one that they do not. */
dsp::AudioBuffer whiteNoise(double seconds, double sharedProportion)
{
    auto audio = dsp::makeSilence(rate, 2, static_cast<std::size_t>(seconds * rate));
    dsp::RandomSource random(3);
    const double shared = std::sqrt(sharedProportion);
    const double own = std::sqrt(1.0 - sharedProportion);
    for (std::size_t frame = 0; frame < audio.numFrames(); ++frame) {
        const double common = random.nextGaussian();
        for (auto& channel : audio.channels)
            channel[frame] =
                static_cast<float>(0.05 * (shared * common + own * random.nextGaussian()));
    }
    return audio;
}

void addTone(dsp::AudioBuffer& audio, double frequencyHz, double amplitude)
{
    for (std::size_t ear = 0; ear < audio.numChannels(); ++ear)
        for (std::size_t frame = 0; frame < audio.numFrames(); ++frame)
            audio.channels[ear][frame] += static_cast<float>(
                amplitude
                * std::sin(2.0 * std::numbers::pi * frequencyHz * static_cast<double>(frame) / rate
                           - 0.6 * static_cast<double>(ear)));
}

void expectRefused(const dsp::AudioBuffer& audio, const std::string& words)
{
    const auto result = ride::analyseNoise("ride.wav", audio, 90.0);
    REQUIRE_FALSE(result);
    CHECK_THAT(result.error().message, Catch::Contains("ride.wav") && Catch::Contains(words));
}

} // namespace

TEST_CASE("White noise with tones is described as such", "[core][ride]")
{
    auto audio = whiteNoise(20.0, 0.36);
    addTone(audio, 150.0, 0.02);
    addTone(audio, 3000.3, 0.01);
    const auto result = ride::analyseNoise("ride.wav", audio, 90.0);
    REQUIRE(result);
    const ride::NoiseState& state = result->state;
    CHECK(state.speedKmh == 90.0);

    REQUIRE(state.numTones == 2);
    CHECK(state.tones[0].frequencyHz == Approx(150.0).margin(0.2));
    CHECK(state.tones[1].frequencyHz == Approx(3000.3).margin(0.2));
    // A tone's level by AES17 is that of its peak; the noise beside it blurs it by 0.1 dB.
    CHECK(state.tones[0].levelsDbfs[0] == Approx(dsp::amplitudeToDb(0.02)).margin(0.3));
    CHECK(state.tones[1].levelsDbfs[1] == Approx(dsp::amplitudeToDb(0.01)).margin(0.5));
    CHECK(state.tones[0].phaseDifferenceRadians == Approx(-0.6).margin(0.1));
    CHECK(state.tones[0].levelDeviationDb < 0.6);
    CHECK(state.tones[0].glideProportion == 0.0);

    // White: mean square 0.0025 over 24 kHz.
    for (std::size_t band = 40; band < ride::numNoiseBands; band += 7) {
        const double widthHz = ride::noiseBandEdgeHz(band + 1) - ride::noiseBandEdgeHz(band);
        const double expected = dsp::rmsToDbfs(std::sqrt(0.0025 * widthHz / 24000.0));
        // A band of 10 Hz over 20 s has a standard deviation of 0.3 dB.
        CHECK(state.noiseDbfs[0][band] == Approx(expected).margin(1.0));
    }
    for (std::size_t band = 60; band < ride::numNoiseBands; ++band)
        CHECK(state.coherence[band] == Approx(0.36).margin(0.1));
    CHECK(state.fluctuation.deviationDb() < 0.3);
}

TEST_CASE("A fluctuation of level is told from what noise does by chance", "[core][ride]")
{
    auto audio = whiteNoise(30.0, 0.0);
    // 3 dB up and down at 0.5 Hz: a standard deviation of 2.12 dB, all in one band.
    for (auto& channel : audio.channels)
        for (std::size_t frame = 0; frame < channel.size(); ++frame)
            channel[frame] *= static_cast<float>(dsp::dbToAmplitude(
                3.0 * std::sin(std::numbers::pi * static_cast<double>(frame) / rate)));
    const auto result = ride::analyseNoise("ride.wav", audio, 90.0);
    REQUIRE(result);
    const ride::LevelFluctuation& fluctuation = result->state.fluctuation;
    CHECK(fluctuation.deviationDb() == Approx(2.12).margin(0.1));
    // 0.5 Hz is the edge between two half octaves.
    CHECK(fluctuation.variancesDb2[9] + fluctuation.variancesDb2[10] == Approx(4.5).margin(0.4));
    CHECK(fluctuation.earCorrelation == Approx(1.0).margin(0.05));
}

TEST_CASE("A recording of one channel serves both ears and says so", "[core][ride]")
{
    auto audio = whiteNoise(12.0, 0.0);
    audio.channels.pop_back();
    const auto result = ride::analyseNoise("ride.wav", audio, 90.0);
    REQUIRE(result);
    CHECK(result->state.noiseDbfs[0] == result->state.noiseDbfs[1]);
    CHECK(*std::ranges::max_element(result->state.coherence) == 0.0);
    CHECK(std::ranges::any_of(result->remarks, [](const std::string& remark) {
        return remark.find("one channel") != std::string::npos;
    }));
    CHECK(std::ranges::any_of(result->remarks, [](const std::string& remark) {
        return remark.find("12 s long") != std::string::npos;
    }));
}

TEST_CASE("Bursts in road noise are remarked on with their place", "[core][ride]")
{
    auto audio = whiteNoise(20.0, 0.0);
    for (auto& channel : audio.channels)
        for (std::size_t frame = 7 * 48000; frame < 7 * 48000 + 6000; ++frame)
            channel[frame] *= 8.0F;
    const auto result = ride::analyseNoise("ride.wav", audio, 90.0);
    REQUIRE(result);
    CHECK(std::ranges::any_of(result->remarks, [](const std::string& remark) {
        return remark.find("bursts") != std::string::npos
               && remark.find("the loudest at 7.") != std::string::npos;
    }));
}

TEST_CASE("Road noise that cannot be trusted is refused with the reason", "[core][ride]")
{
    expectRefused(whiteNoise(9.9, 0.0), "only 9.9 s");
    auto silent = whiteNoise(11.0, 0.0);
    for (auto& channel : silent.channels)
        std::ranges::fill(channel, 0.0F);
    expectRefused(silent, "silent");
    auto oneSided = whiteNoise(11.0, 0.0);
    std::ranges::fill(oneSided.channels[1], 0.0F);
    expectRefused(oneSided, "silent");
    auto gap = whiteNoise(11.0, 0.0);
    std::fill_n(gap.channels[0].begin() + 100000, 5000, 0.0F);
    expectRefused(gap, "digital silence at 2.1 s");
    auto three = whiteNoise(11.0, 0.0);
    three.channels.push_back(three.channels.front());
    expectRefused(three, "3 channels");
    auto clipped = whiteNoise(11.0, 0.0);
    addTone(clipped, 60.0, 0.5);
    for (auto& channel : clipped.channels)
        for (float& sample : channel)
            sample = std::clamp(sample, -0.4F, 0.4F);
    expectRefused(clipped, "clipped");
}
