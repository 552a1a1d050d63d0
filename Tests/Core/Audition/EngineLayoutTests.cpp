// The AuditionEngine with the layouts that block lengths and rates lead to.
#include "Core/Audition/AuditionEngine.h"

#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using test::Stereo;

namespace {

/** Plays a programme through one response. */
Stereo play(const AuditionEngine::Settings& settings, double sampleRate, std::size_t maxBlockFrames,
            const std::vector<float>& taps, const Stereo& programme,
            std::span<const std::size_t> blocks, double* gain = nullptr)
{
    AuditionEngine engine(settings);
    const auto parameters = test::programmeAlone();
    engine.setParameters(parameters);
    engine.prepare({.sampleRate = sampleRate, .maxBlockFrames = maxBlockFrames});
    auto scene = test::sceneOf(engine.layout(), std::array {taps});
    if (gain != nullptr)
        *gain = dsp::dbToAmplitude(
            levelsOf(*scene, scene->candidates.front(), parameters).programmeGainDb);
    engine.publish(std::move(scene));
    engine.reset();
    return test::runEngine(engine, programme, blocks);
}

Stereo noisePair(std::size_t numFrames, std::uint64_t seed)
{
    return {test::gaussianNoise(numFrames, 0.05, seed),
            test::gaussianNoise(numFrames, 0.05, seed + 1)};
}

/** Settings that choose the layout for the blocks announced. */
AuditionEngine::Settings layoutOfBlocks()
{
    auto settings = test::promptSettings();
    settings.layoutBlockFrames = 0;
    return settings;
}

} // namespace

TEST_CASE("With every layout the engine is the direct sum", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 96000.0, 192000.0);
    const std::size_t maxBlockFrames = GENERATE(1U, 128U, 441U, 4096U, 8192U);
    CAPTURE(sampleRate, maxBlockFrames);
    const auto taps = test::decayingNoise(20000, 1);
    const Stereo programme = noisePair(28000, 2);
    double gain = 0.0;
    const Stereo output = play(layoutOfBlocks(), sampleRate, maxBlockFrames, taps, programme,
                               std::array {maxBlockFrames}, &gain);
    for (std::size_t ear = 0; ear < 2; ++ear) {
        auto expected = test::directConvolution(programme[ear], taps);
        for (double& sample : expected)
            sample *= gain;
        // See the test of the partitioned convolution for the figure.
        CHECK(test::relativeErrorDb(output[ear], expected) < -130.0);
    }
}

TEST_CASE("An engine prepared for one block length plays blocks of all", "[core][audition]")
{
    const std::size_t maxBlockFrames = GENERATE(64U, 480U, 8192U);
    CAPTURE(maxBlockFrames);
    const auto taps = test::decayingNoise(30000, 3);
    const Stereo programme = noisePair(90000, 4);
    const auto run = [&](std::span<const std::size_t> blocks) {
        return play(layoutOfBlocks(), 48000.0, maxBlockFrames, taps, programme, blocks);
    };
    const Stereo expected = run(std::array<std::size_t, 1> {64});
    const std::vector<std::vector<std::size_t>> cuts {
        {1}, {8192}, {8191, 1, 4095, 3, 1023, 65, 129, 7}, {480, 441, 0, 511}};
    for (const auto& blocks : cuts) {
        CAPTURE(blocks);
        const bool same = run(blocks) == expected;
        CHECK(same);
    }
}

TEST_CASE("A layout that is set makes engines for different block lengths equal",
          "[core][audition]")
{
    const auto taps = test::decayingNoise(30000, 5);
    const Stereo programme = noisePair(40000, 6);
    auto settings = layoutOfBlocks();
    const auto run = [&](std::size_t maxBlockFrames) {
        return play(settings, 48000.0, maxBlockFrames, taps, programme,
                    std::array {maxBlockFrames});
    };
    const Stereo large = run(2048);
    const Stereo small = run(64);
    const std::vector<double> reference(large[0].begin(), large[0].end());
    CHECK(test::relativeErrorDb(small[0], reference) < -125.0);
    settings.layoutBlockFrames = 512;
    const bool same = run(2048) == run(64);
    CHECK(same);
}
