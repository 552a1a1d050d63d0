#include "Core/Audition/ProgrammeMatch.h"

#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Hearing/Loudness.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <string>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;

namespace {

constexpr double sampleRate = 48000.0;

/** Three candidates that differ in level and in tone: bright, dull, and dull and loud. */
audition::AuditionScene threeCandidates(const audition::PartitionLayout& layout)
{
    audition::SceneRequest request;
    for (const int number : {1, 2, 3}) {
        measure::Response response;
        response.impulse = test::decayingNoise(9000, static_cast<std::uint64_t>(number));
        if (number > 1) { // a low-pass of one pole
            double state = 0.0;
            for (float& tap : response.impulse) {
                state += 0.05 * (static_cast<double>(tap) - state);
                tap = static_cast<float>(number == 2 ? state : 9.0 * state);
            }
        }
        request.candidates.push_back({"plate " + std::to_string(number), response, {}});
    }
    auto scene = audition::buildScene(request, layout, sampleRate);
    REQUIRE(scene);
    return *std::move(scene);
}

/** Loud and quiet passages of dark, then of bright noise: gating and spectrum both have a say. */
dsp::AudioBuffer passages()
{
    dsp::AudioBuffer audio {sampleRate, {}};
    for (const std::uint64_t seed : {11U, 12U}) {
        auto samples = test::gaussianNoise(8 * 48000, 0.2, seed);
        double state = 0.0;
        for (std::size_t frame = 0; frame < samples.size(); ++frame) {
            state += 0.02 * (static_cast<double>(samples[frame]) - state);
            samples[frame] =
                frame < 4 * 48000 ? static_cast<float>(6.0 * state) : 0.1F * samples[frame];
            if (frame / 48000 % 2 == 1)
                samples[frame] *= 0.02F;
        }
        audio.channels.push_back(std::move(samples));
    }
    return audio;
}

/** Loudness of the engine's own output with equal loudness chosen. */
double heardLufs(const audition::AuditionScene& scene, std::size_t candidate,
                 const dsp::AudioBuffer& programme)
{
    AuditionEngine engine(test::promptSettings());
    AuditionEngine::Parameters parameters;
    parameters.candidate = candidate;
    parameters.outputLevelDb = -20.0;
    parameters.monitor = audition::Monitor::programmeOnly;
    parameters.match = audition::LevelMatch::equalLoudness;
    engine.setParameters(parameters);
    engine.prepare({.sampleRate = sampleRate});
    engine.publish(std::make_unique<audition::AuditionScene>(scene));
    engine.reset();
    const auto output = test::runEngine(engine, {programme.channels[0], programme.channels[1]},
                                        std::array<std::size_t, 1> {512});
    return hearing::integratedLoudnessLufs({sampleRate, {output[0], output[1]}});
}

audition::ProgrammeMatch matchOver(const audition::AuditionScene& scene,
                                   const dsp::AudioBuffer& programme)
{
    const std::atomic<bool> stopped {false};
    std::vector<std::optional<double>> loudness;
    for (std::size_t index = 0; index < scene.candidates.size(); ++index)
        loudness.push_back(audition::programmeLoudnessLufs(
            scene, index, {programme, 0, programme.numFrames()}, stopped));
    return audition::matchLoudness(scene, loudness);
}

audition::PartitionLayout layoutOfAnEngine()
{
    AuditionEngine engine({});
    engine.prepare({.sampleRate = sampleRate});
    return engine.layout();
}

} // namespace

TEST_CASE("Candidates matched over a programme are equally loud with it within 0.1 LU",
          "[core][audition]")
{
    auto scene = threeCandidates(layoutOfAnEngine());
    const auto programme = passages();
    const auto match = matchOver(scene, programme);
    REQUIRE(match.isMeasured);
    // Pink noise would not have done: the tones are far apart.
    double largestPinkError = 0.0;
    for (std::size_t index = 1; index < 3; ++index)
        largestPinkError = std::max(largestPinkError, std::abs(heardLufs(scene, index, programme)
                                                               - heardLufs(scene, 0, programme)));
    CHECK(largestPinkError > 0.5);

    for (std::size_t index = 0; index < 3; ++index)
        scene.candidates[index].matchGainDb = match.matchGainsDb[index];
    const double first = heardLufs(scene, 0, programme);
    for (std::size_t index = 1; index < 3; ++index)
        CHECK(heardLufs(scene, index, programme) == Approx(first).margin(0.1));
}

TEST_CASE("A part of a programme is matched by what is in it", "[core][audition]")
{
    const auto scene = threeCandidates(layoutOfAnEngine());
    const auto programme = passages();
    const std::atomic<bool> stopped {false};
    const std::size_t half = programme.numFrames() / 2;
    const auto dark = audition::programmeLoudnessLufs(scene, 1, {programme, 0, half}, stopped);
    const auto bright = audition::programmeLoudnessLufs(
        scene, 1, {programme, half, programme.numFrames() + 1000}, stopped);
    dsp::AudioBuffer cut = programme;
    for (auto& channel : cut.channels)
        channel.resize(half);
    REQUIRE(dark);
    REQUIRE(bright);
    CHECK(*dark == *audition::programmeLoudnessLufs(scene, 1, {cut, 0, half}, stopped));
    CHECK(*dark != Approx(*bright).margin(1.0));
}

TEST_CASE("What is not measured yet counts as with pink noise", "[core][audition]")
{
    audition::AuditionScene scene;
    scene.candidates.resize(3);
    scene.candidates[0].matchGainDb = 1.0; // while the first is edited
    scene.candidates[1].matchGainDb = -2.0;
    scene.candidates[2].matchGainDb = 4.0;
    using Known = std::optional<double>;

    const std::array<Known, 3> none;
    auto match = audition::matchLoudness(scene, none);
    CHECK_FALSE(match.isMeasured);
    CHECK(match.differencesDb == std::vector {0.0, 3.0, -3.0});
    CHECK(match.matchGainsDb == std::vector {1.0, -2.0, 4.0});

    // The programme stands 10 dB over pink noise with the two that are known.
    const std::array<Known, 3> some {Known(9.0), Known(12.0), Known()};
    match = audition::matchLoudness(scene, some);
    CHECK_FALSE(match.isMeasured);
    CHECK(match.differencesDb == std::vector {0.0, 3.0, -3.0});

    const std::array<Known, 3> all {Known(-30.0), Known(-28.0), Known(-35.5)};
    match = audition::matchLoudness(scene, all);
    CHECK(match.isMeasured);
    CHECK(match.differencesDb == std::vector {0.0, 2.0, -5.5});
    CHECK(match.matchGainsDb == std::vector {1.0, -1.0, 6.5});

    // Silence has no loudness to match.
    const std::array<Known, 3> silent {Known(dsp::silenceDb), Known(dsp::silenceDb),
                                       Known(dsp::silenceDb)};
    match = audition::matchLoudness(scene, silent);
    CHECK_FALSE(match.isMeasured);
    CHECK(match.matchGainsDb == std::vector {1.0, -2.0, 4.0});
}

TEST_CASE("Measuring the loudness of a programme stops when told to", "[core][audition]")
{
    const auto scene = threeCandidates(layoutOfAnEngine());
    const std::atomic<bool> stopped {true};
    const auto programme = passages();
    CHECK_FALSE(
        audition::programmeLoudnessLufs(scene, 0, {programme, 0, programme.numFrames()}, stopped)
            .has_value());
}
