// Switching candidates and scenes of an AuditionEngine.
#include "Core/Audition/AuditionEngine.h"

#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using test::Stereo;

namespace {

constexpr std::array<std::size_t, 3> unevenBlocks {64, 333, 1};

const std::vector<std::vector<float>>& threeCandidates()
{
    static const std::vector<std::vector<float>> candidates {
        test::decayingNoise(9000, 1), test::decayingNoise(20000, 2), test::decayingNoise(300, 3)};
    return candidates;
}

void takeUp(AuditionEngine& engine, const std::vector<std::vector<float>>& candidates,
            const AuditionEngine::Parameters& parameters, double sampleRate = 48000.0)
{
    engine.setParameters(parameters);
    engine.prepare({.sampleRate = sampleRate});
    engine.publish(test::sceneOf(engine.layout(), candidates));
    engine.reset();
}

/** What an engine plays that has always played one candidate. */
std::vector<float> always(std::size_t candidate, const Stereo& programme, double sampleRate)
{
    AuditionEngine engine(test::promptSettings());
    auto parameters = test::programmeAlone();
    parameters.candidate = candidate;
    takeUp(engine, threeCandidates(), parameters, sampleRate);
    return test::runEngine(engine, programme, unevenBlocks)[0];
}

/** The time in which the new candidate's tail is made comes before every fade. */
constexpr std::size_t delayFrames = AuditionEngine::switchDelayFrames();

/** Equal-power fade from one signal to another, beginning at a frame. */
std::vector<double> faded(std::span<const double> from, std::span<const float> to,
                          std::size_t beginFrame, std::size_t fadeFrames)
{
    std::vector<double> result(from.begin(), from.end());
    for (std::size_t frame = beginFrame; frame < result.size(); ++frame) {
        const double position = std::min(1.0, (static_cast<double>(frame - beginFrame) + 0.5)
                                                  / static_cast<double>(fadeFrames));
        const double angle = 0.5 * std::numbers::pi * position;
        result[frame] =
            std::cos(angle) * from[frame] + std::sin(angle) * static_cast<double>(to[frame]);
    }
    return result;
}

} // namespace

TEST_CASE("A switch is an equal-power fade between two complete tails", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    const double fadeSeconds = GENERATE(0.005, 0.02, 0.2);
    CAPTURE(sampleRate, fadeSeconds);
    const auto fadeFrames = static_cast<std::size_t>(std::lround(fadeSeconds * sampleRate));
    const Stereo programme {test::gaussianNoise(60000, 0.1, 5), test::gaussianNoise(60000, 0.1, 6)};
    const auto first = always(0, programme, sampleRate);
    const auto second = always(1, programme, sampleRate);

    auto settings = test::promptSettings();
    settings.fadeSeconds = fadeSeconds;
    AuditionEngine engine(settings);
    auto parameters = test::programmeAlone();
    takeUp(engine, threeCandidates(), parameters, sampleRate);
    Stereo output;
    // Well within the 20000 taps of the second candidate, whose tail must be there at once.
    constexpr std::size_t switchFrame = 30011;
    test::runEngineOver(engine, programme, 0, switchFrame, unevenBlocks, output);
    parameters.candidate = 1;
    engine.setParameters(parameters);
    test::runEngineOver(engine, programme, switchFrame, 60000, unevenBlocks, output);

    const std::vector<double> before(first.begin(), first.end());
    const auto expected = faded(before, second, switchFrame + delayFrames, fadeFrames);
    double largest = 0.0;
    for (std::size_t frame = 0; frame < expected.size(); ++frame)
        largest =
            std::max(largest, std::abs(static_cast<double>(output[0][frame]) - expected[frame]));
    // Rounding of single precision at levels near 0.1 is below 1e-8.
    CHECK(largest < 3e-8);
    const std::size_t fadeEnd = switchFrame + delayFrames + fadeFrames;
    CHECK(std::equal(output[0].begin() + static_cast<std::ptrdiff_t>(fadeEnd), output[0].end(),
                     second.begin() + static_cast<std::ptrdiff_t>(fadeEnd)));
}

TEST_CASE("No step in a switch is larger than the fade makes", "[core][audition]")
{
    // With a steady programme every step is the fade's. Its slope is at most pi / 2 over its
    // length in either gain, and never both at once: sqrt(a^2 + b^2) in all.
    auto parameters = test::programmeAlone();
    AuditionEngine engine(test::promptSettings());
    takeUp(engine, {{1.0F}, {-0.5F}}, parameters);
    Stereo programme {std::vector<float>(10000, 0.5F), std::vector<float>(10000, 0.5F)};
    Stereo output;
    test::runEngineOver(engine, programme, 0, 5000, unevenBlocks, output);
    const auto first = static_cast<double>(output[0].back());
    parameters.candidate = 1;
    engine.setParameters(parameters);
    test::runEngineOver(engine, programme, 5000, 10000, unevenBlocks, output);
    const auto second = static_cast<double>(output[0].back());
    CHECK(second == Approx(-0.5 * first).epsilon(1e-6));
    const double bound = 0.5 * std::numbers::pi / 960.0 * std::hypot(first, second);
    const double step = test::largestStep(output[0]);
    CAPTURE(step, bound);
    CHECK(step <= bound * 1.001);
    CHECK(step > 0.9 * bound);
}

TEST_CASE("A switch asked for during another begins with the frame after its fade",
          "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0);
    CAPTURE(sampleRate);
    const auto fadeFrames = static_cast<std::size_t>(std::lround(0.02 * sampleRate));
    const Stereo programme {test::gaussianNoise(50000, 0.1, 7), test::gaussianNoise(50000, 0.1, 8)};
    AuditionEngine engine(test::promptSettings());
    auto parameters = test::programmeAlone();
    takeUp(engine, threeCandidates(), parameters, sampleRate);
    Stereo output;
    constexpr std::size_t switchFrame = 25000;
    test::runEngineOver(engine, programme, 0, switchFrame, unevenBlocks, output);
    for (const std::size_t wanted : {1U, 0U, 1U, 2U}) {
        parameters.candidate = wanted;
        engine.setParameters(parameters);
        const std::size_t begin = output[0].size();
        test::runEngineOver(engine, programme, begin, begin + 101, unevenBlocks, output);
    }
    test::runEngineOver(engine, programme, output[0].size(), 50000, unevenBlocks, output);

    // Of what is asked for meanwhile only the last counts.
    const auto first = always(0, programme, sampleRate);
    const std::vector<double> before(first.begin(), first.end());
    const auto once =
        faded(before, always(1, programme, sampleRate), switchFrame + delayFrames, fadeFrames);
    const auto expected = faded(once, always(2, programme, sampleRate),
                                switchFrame + 2 * delayFrames + fadeFrames, fadeFrames);
    double largest = 0.0;
    for (std::size_t frame = 0; frame < expected.size(); ++frame)
        largest =
            std::max(largest, std::abs(static_cast<double>(output[0][frame]) - expected[frame]));
    CHECK(largest < 3e-8);
}

TEST_CASE("An index past the last candidate means the last", "[core][audition]")
{
    const Stereo programme {test::gaussianNoise(5000, 0.1, 9), test::gaussianNoise(5000, 0.1, 10)};
    AuditionEngine engine(test::promptSettings());
    auto parameters = test::programmeAlone();
    parameters.candidate = 99;
    takeUp(engine, threeCandidates(), parameters);
    CHECK(test::runEngine(engine, programme, unevenBlocks)[0] == always(2, programme, 48000.0));
}

TEST_CASE("A new scene fades in with its complete tail while the engine runs", "[core][audition]")
{
    const Stereo programme {test::gaussianNoise(60000, 0.1, 11),
                            test::gaussianNoise(60000, 0.1, 12)};
    AuditionEngine engine(test::promptSettings());
    const auto parameters = test::programmeAlone();
    takeUp(engine, {threeCandidates()[0]}, parameters);
    Stereo output;
    test::runEngineOver(engine, programme, 0, 30000, unevenBlocks, output);
    engine.publish(test::sceneOf(engine.layout(), std::array {threeCandidates()[1]}));
    test::runEngineOver(engine, programme, 30000, 60000, unevenBlocks, output);

    const auto first = always(0, programme, 48000.0);
    const std::vector<double> before(first.begin(), first.end());
    const auto expected = faded(before, always(1, programme, 48000.0), 30000 + delayFrames, 960);
    double largest = 0.0;
    for (std::size_t frame = 0; frame < expected.size(); ++frame)
        largest =
            std::max(largest, std::abs(static_cast<double>(output[0][frame]) - expected[frame]));
    CHECK(largest < 3e-8);
}

TEST_CASE("The engine leaves a scene only when its place is free, and frees none itself",
          "[core][audition]")
{
    AuditionEngine engine(test::promptSettings());
    takeUp(engine, {{1.0F}}, test::programmeAlone());
    const Stereo programme {std::vector<float>(3000, 0.5F), std::vector<float>(3000, 0.5F)};
    const float atOne = test::runEngine(engine, programme, unevenBlocks)[0].back();

    const auto publish = [&](float tap) {
        auto scene = test::sceneOf(engine.layout(), std::array {std::vector<float> {tap}});
        const std::weak_ptr<const audition::PartitionedKernel> kernel =
            scene->candidates[0].kernels[0][0];
        engine.publish(std::move(scene));
        return kernel;
    };
    const auto second = publish(0.5F);
    CHECK(test::runEngine(engine, programme, unevenBlocks)[0].back() == Approx(0.5F * atOne));
    // The first scene waits to be collected; publishing collects it, and the second goes on.
    const auto third = publish(0.25F);
    const auto fourth = publish(0.125F);
    CHECK(third.expired()); // Replaced before it was heard.
    CHECK_FALSE(second.expired());
    CHECK(test::runEngine(engine, programme, unevenBlocks)[0].back() == Approx(0.125F * atOne));
    CHECK_FALSE(second.expired());
    engine.collectGarbage();
    CHECK(second.expired());
    CHECK_FALSE(fourth.expired());
}

TEST_CASE("A reset in the middle of a scene change takes up the newest scene at once",
          "[core][audition]")
{
    AuditionEngine engine(test::promptSettings());
    takeUp(engine, {{1.0F}}, test::programmeAlone());
    const Stereo programme {std::vector<float>(300, 0.5F), std::vector<float>(300, 0.5F)};
    const float atOne = test::runEngine(engine, programme, unevenBlocks)[0].back();
    engine.publish(test::sceneOf(engine.layout(), std::array {std::vector<float> {0.5F}}));
    static_cast<void>(test::runEngine(engine, programme, unevenBlocks)); // Fades.
    engine.publish(test::sceneOf(engine.layout(), std::array {std::vector<float> {0.25F}}));
    engine.reset();
    CHECK(test::runEngine(engine, programme, unevenBlocks)[0].back() == Approx(0.25F * atOne));
}
