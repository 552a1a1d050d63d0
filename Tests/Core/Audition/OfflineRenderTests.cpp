#include "Core/Audition/OfflineRender.h"

#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <string>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using audition::renderAudition;

namespace {

audition::SceneRequest twoCandidates()
{
    audition::SceneRequest request;
    for (const std::uint64_t seed : {1U, 2U}) {
        measure::Response response;
        response.impulse = test::decayingNoise(9000, seed);
        request.candidates.push_back({"plate " + std::to_string(seed), response, {}});
    }
    return request;
}

dsp::AudioBuffer noiseProgramme(double sampleRate, std::size_t numChannels)
{
    dsp::AudioBuffer programme {sampleRate, {}};
    for (std::size_t channel = 0; channel < numChannels; ++channel)
        programme.channels.push_back(test::gaussianNoise(20001, 0.1, 5 + channel));
    return programme;
}

AuditionEngine::Parameters riding()
{
    AuditionEngine::Parameters parameters;
    parameters.candidate = 1;
    parameters.ride.speedKmh = 90.0;
    return parameters;
}

} // namespace

TEST_CASE("An offline audition has the samples of the engine driven by hand", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    const auto programme = noiseProgramme(sampleRate, 2);
    const auto rendering = renderAudition(twoCandidates(), programme, {}, riding(), 512, 0.1);
    REQUIRE(rendering);
    const auto tailFrames = static_cast<std::size_t>(0.1 * sampleRate);
    REQUIRE(rendering->audio.numFrames() == 20001 + tailFrames);
    REQUIRE(rendering->audio.numChannels() == 2);
    CHECK(rendering->audio.sampleRate == sampleRate);

    AuditionEngine engine({});
    engine.prepare({.sampleRate = sampleRate});
    engine.setParameters(riding());
    auto scene = audition::buildScene(twoCandidates(), engine.layout(), sampleRate);
    REQUIRE(scene);
    CHECK(rendering->levels == levelsOf(*scene, scene->candidates[1], riding()));
    engine.publish(std::make_unique<audition::AuditionScene>(std::move(*scene)));
    engine.reset();
    test::Stereo input {programme.channels[0], programme.channels[1]};
    for (auto& channel : input)
        channel.resize(20001 + tailFrames, 0.0F);
    const dsp::ScopedFlushDenormals flushDenormals;
    const auto byHand = test::runEngine(engine, input, std::array<std::size_t, 2> {64, 480});
    const bool same =
        byHand[0] == rendering->audio.channels[0] && byHand[1] == rendering->audio.channels[1];
    CHECK(same);
}

TEST_CASE("An offline audition does not depend on its block length", "[core][audition]")
{
    const auto programme = noiseProgramme(48000.0, 2);
    const auto reference = renderAudition(twoCandidates(), programme, {}, riding(), 512);
    REQUIRE(reference);
    for (const std::size_t blockFrames : {1U, 100U, 30000U}) {
        const auto rendering =
            renderAudition(twoCandidates(), programme, {}, riding(), blockFrames);
        REQUIRE(rendering);
        const bool same = rendering->audio == reference->audio;
        CHECK(same);
    }
}

TEST_CASE("The seed alone decides the noise", "[core][audition]")
{
    const auto programme = noiseProgramme(48000.0, 1);
    auto parameters = riding();
    AuditionEngine::Settings settings;
    const auto render = [&] {
        auto rendering = renderAudition(twoCandidates(), programme, settings, parameters);
        REQUIRE(rendering);
        return std::move(rendering->audio);
    };
    const auto first = render();
    const bool again = render() == first;
    CHECK(again);
    settings.noiseSeed = 2;
    const bool otherSeed = render() == first;
    CHECK_FALSE(otherSeed);

    // Without noise the seed has no part in it.
    parameters.monitor = audition::Monitor::programmeOnly;
    const auto programmeOnly = render();
    settings.noiseSeed = 3;
    const bool same = render() == programmeOnly;
    CHECK(same);
}

TEST_CASE("A programme of one channel renders as one of two equal channels", "[core][audition]")
{
    const auto mono = noiseProgramme(48000.0, 1);
    dsp::AudioBuffer pair = mono;
    pair.channels.push_back(mono.channels[0]);
    const auto one = renderAudition(twoCandidates(), mono, {}, riding());
    const auto two = renderAudition(twoCandidates(), pair, {}, riding());
    REQUIRE(one);
    REQUIRE(two);
    const bool same = one->audio == two->audio;
    CHECK(same);
}

TEST_CASE("A rendering of an index past the last candidate is the last, and a bad scene is refused",
          "[core][audition]")
{
    const auto programme = noiseProgramme(48000.0, 2);
    auto parameters = riding();
    const auto last = renderAudition(twoCandidates(), programme, {}, parameters);
    parameters.candidate = 7;
    const auto beyond = renderAudition(twoCandidates(), programme, {}, parameters);
    REQUIRE(last);
    REQUIRE(beyond);
    const bool same = last->audio == beyond->audio;
    CHECK(same);
    CHECK(last->levels == beyond->levels);

    CHECK_FALSE(renderAudition({}, programme, {}, parameters).has_value());
}
