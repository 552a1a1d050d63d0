#include "Core/Audition/SceneBuilder.h"

#include "Core/Audition/AuditionEngine.h"
#include "Core/Dsp/Units.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using audition::CandidateRequest;
using audition::SceneCandidate;

namespace {

constexpr double sampleRate = 48000.0;

measure::Response roomResponse(std::uint64_t seed)
{
    measure::Response response;
    response.impulse.assign(6000, 0.0F);
    response.arrivalFrame = 200;
    response.impulse[response.arrivalFrame] = 0.5F;
    const auto tail = test::decayingNoise(4000, seed);
    for (std::size_t tap = 0; tap < tail.size(); ++tap)
        response.impulse[210 + tap] += 0.1F * tail[tap];
    return response;
}

CandidateRequest withGain(const char* name, std::uint64_t seed, double gainDb)
{
    CandidateRequest candidate {name, roomResponse(seed), {}};
    tuning::Element gain;
    gain.gainDb = gainDb;
    candidate.tuning.chains = {{tuning::OutputGroup::all, {gain}}};
    return candidate;
}

audition::SceneRequest twoCandidates()
{
    audition::SceneRequest request;
    request.candidates = {{"first", roomResponse(3), {}}, withGain("second", 4, -5.0)};
    return request;
}

/** Level of steady noise in dB before a switch, and the loudest 5 ms within it. */
struct SwitchLevels {
    double beforeDb = 0.0;
    double loudestDb = 0.0;
};

SwitchLevels switchBetweenAlikes(std::uint64_t kinship)
{
    AuditionEngine engine(test::promptSettings());
    engine.setParameters(test::programmeAlone());
    engine.prepare({.sampleRate = sampleRate});
    const std::vector<std::vector<float>> candidates {{0.5F}, {0.5F}};
    auto scene = test::sceneOf(engine.layout(), candidates);
    for (SceneCandidate& candidate : scene->candidates)
        candidate.kinship = kinship;
    engine.publish(std::move(scene));
    engine.reset();

    // A sine whose periods fill 5 ms, so that its level is the same in each.
    constexpr std::size_t numFrames = 9600;
    constexpr std::size_t window = 240;
    test::Stereo programme {std::vector<float>(numFrames), std::vector<float>(numFrames)};
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        programme[0][frame] = programme[1][frame] = static_cast<float>(
            0.05 * std::sin(2.0 * std::numbers::pi * static_cast<double>(frame) / 48.0));
    const std::array<std::size_t, 1> blocks {480};
    test::Stereo output;
    test::runEngineOver(engine, programme, 0, numFrames / 2, blocks, output);
    auto parameters = test::programmeAlone();
    parameters.candidate = 1;
    engine.setParameters(parameters);
    test::runEngineOver(engine, programme, numFrames / 2, numFrames, blocks, output);

    const auto levelDb = [&](std::size_t begin) {
        double power = 0.0;
        for (std::size_t frame = begin; frame < begin + window; ++frame)
            power += std::pow(static_cast<double>(output[0][frame]), 2.0);
        return dsp::powerToDb(power / static_cast<double>(window));
    };
    SwitchLevels levels;
    levels.beforeDb = levelDb(numFrames / 4);
    levels.loudestDb = dsp::silenceDb;
    for (std::size_t begin = numFrames / 2; begin + window <= numFrames; begin += window)
        levels.loudestDb = std::max(levels.loudestDb, levelDb(begin));
    return levels;
}

} // namespace

TEST_CASE("Candidates of one measurement fade without swelling", "[core][audition]")
{
    const SwitchLevels kin = switchBetweenAlikes(7);
    CHECK(kin.loudestDb - kin.beforeDb == Approx(0.0).margin(0.001));
    // The fade of equal power, meant for candidates that differ, adds up to 3 dB to equal ones.
    const SwitchLevels strangers = switchBetweenAlikes(0);
    CHECK(strangers.loudestDb - strangers.beforeDb > 2.0);
    CHECK(strangers.loudestDb - strangers.beforeDb < 3.02);
}

TEST_CASE("A candidate built by itself is that of the whole scene", "[core][audition]")
{
    const auto layout = audition::PartitionLayout::forTaps(8000);
    const audition::SceneRequest request = twoCandidates();
    const auto scene = audition::buildScene(request, layout, sampleRate);
    REQUIRE(scene);
    REQUIRE(scene->reference);
    for (std::size_t index = 0; index < 2; ++index) {
        const auto alone =
            audition::buildCandidate(request.candidates[index], *scene->reference,
                                     request.ride.parameters.helmet, layout, sampleRate);
        REQUIRE(alone);
        CHECK(alone->level == scene->candidates[index].level);
        CHECK(alone->matchGainDb == scene->candidates[index].matchGainDb);
        CHECK(std::ranges::equal(alone->kernels[0][0]->head(),
                                 scene->candidates[index].kernels[0][0]->head()));
    }
}

TEST_CASE("Levels keep to a reference that is no candidate any more", "[core][audition]")
{
    const auto layout = audition::PartitionLayout::forTaps(8000);
    const audition::SceneRequest before = twoCandidates();
    const auto scene = audition::buildScene(before, layout, sampleRate);
    REQUIRE(scene);
    audition::SceneRequest after = before;
    after.reference = before.candidates.front();
    after.candidates.front() = withGain("first", 3, -6.0);
    const auto edited = audition::buildScene(after, layout, sampleRate);
    REQUIRE(edited);
    CHECK(*edited->reference == *scene->reference);
    CHECK(edited->candidates[1].level == scene->candidates[1].level);
    // The gain is 6 dB to the precision of the samples.
    CHECK(edited->candidates[0].level.splDba - scene->candidates[0].level.splDba
          == Approx(-6.0).margin(1e-4));
    CHECK(edited->candidates[0].matchGainDb == Approx(6.0).margin(1e-4));
    const AuditionEngine::Parameters parameters;
    CHECK(levelsOf(*edited, edited->candidates[1], parameters)
          == levelsOf(*scene, scene->candidates[1], parameters));
}
