#include "Core/Audition/BlindListening.h"
#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"
#include "Support/LockCounter.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <thread>

using namespace saddletone;
using audition::AuditionEngine;
using audition::BlindListening;
using test::Stereo;

namespace {

constexpr double sampleRate = 48000.0;
constexpr std::size_t dipFrames = static_cast<std::size_t>(
    (2.0 * BlindListening::fadeSeconds + BlindListening::silenceSeconds) * sampleRate);

/** An engine with two candidates of other responses and a third like the first, and a blind test
    over it. */
struct Rig {
    Rig() : engine(test::promptSettings())
    {
        engine.prepare({.sampleRate = sampleRate});
        const std::vector<std::vector<float>> taps {test::decayingNoise(3000, 1),
                                                    test::decayingNoise(3000, 2),
                                                    test::decayingNoise(3000, 1)};
        engine.publish(test::sceneOf(engine.layout(), taps));
        engine.setParameters(test::programmeAlone());
        engine.reset();
        listening.prepare(sampleRate);
    }

    /** between: called before each block with the frames done. */
    template <typename Between>
    Stereo play(std::size_t numFrames, std::span<const std::size_t> blockSizes, Between between)
    {
        const Stereo input {test::gaussianNoise(numFrames, 0.05, 3),
                            test::gaussianNoise(numFrames, 0.05, 4)};
        Stereo output {std::vector<float>(numFrames), std::vector<float>(numFrames)};
        std::size_t done = 0;
        for (std::size_t block = 0; done < numFrames; ++block) {
            between(done);
            const std::size_t count =
                std::min(blockSizes[block % blockSizes.size()], numFrames - done);
            const std::array<const float*, 2> from {input[0].data() + done, input[1].data() + done};
            const std::array<float*, 2> to {output[0].data() + done, output[1].data() + done};
            listening.process(engine, own, {from.data(), 2, count}, {to.data(), 2, count});
            done += count;
        }
        return output;
    }

    AuditionEngine engine;
    BlindListening listening;
    AuditionEngine::Parameters own = test::programmeAlone();
};

constexpr std::array<std::size_t, 1> evenBlocks {480};

/** Envelope of a stretch: largest magnitude in every millisecond, both ears. */
std::vector<float> envelopeOf(const Stereo& signal, std::size_t from, std::size_t to)
{
    std::vector<float> envelope;
    for (std::size_t frame = from; frame + 48 <= to; frame += 48) {
        float largest = 0.0F;
        for (const auto& ear : signal)
            for (std::size_t offset = 0; offset < 48; ++offset)
                largest = std::max(largest, std::abs(ear[frame + offset]));
        envelope.push_back(largest);
    }
    return envelope;
}

} // namespace

TEST_CASE("Without a test the engine plays as it would alone", "[core][audition][blind]")
{
    Rig through;
    Rig alone;
    const Stereo output = through.play(9600, evenBlocks, [](std::size_t) {});
    const Stereo input {test::gaussianNoise(9600, 0.05, 3), test::gaussianNoise(9600, 0.05, 4)};
    alone.engine.setParameters(alone.own);
    CHECK(output == test::runEngine(alone.engine, input, evenBlocks));
}

TEST_CASE("A switch to the same candidate dips exactly as one to another does",
          "[core][audition][blind]")
{
    // Candidates 0 and 2 are the same response, so these two runs play the same but for what the
    // engine does in the dark: one switches to another voice, one stays.
    Rig same;
    Rig other;
    const auto run = [&](Rig& rig, std::size_t candidate) {
        return rig.play(48000, evenBlocks, [&](std::size_t done) {
            if (done == 4800)
                rig.listening.begin(rig.own, 0);
            if (done == 24000)
                rig.listening.switchTo(candidate);
        });
    };
    const Stereo stays = run(same, 0);
    const Stereo switches = run(other, 2);
    // The tails are computed by another route, hence not to the bit: a float's rounding at 0.05.
    for (std::size_t ear = 0; ear < 2; ++ear)
        CHECK(test::largestDifference(stays[ear], switches[ear]) < 1e-6);

    // It is silent in the middle and heard again afterwards, as at the beginning of the test.
    const auto dip = envelopeOf(stays, 24000, 24000 + dipFrames);
    CHECK(dip[30] == 0.0F);
    CHECK(dip[50] == 0.0F);
    CHECK(dip.front() > 0.01F);
    CHECK(envelopeOf(stays, 24000 + dipFrames, 26400 + dipFrames).front() > 0.01F);
}

TEST_CASE("The other candidate is heard only after the dip, and then all of it",
          "[core][audition][blind]")
{
    Rig blind;
    const Stereo output = blind.play(48000, evenBlocks, [&](std::size_t done) {
        if (done == 4800)
            blind.listening.begin(blind.own, 1);
    });
    Rig openly;
    openly.own.candidate = 1;
    openly.engine.setParameters(openly.own);
    openly.engine.reset();
    const Stereo expected = openly.play(48000, evenBlocks, [](std::size_t) {});
    for (std::size_t ear = 0; ear < 2; ++ear)
        CHECK(test::largestDifference(std::span(output[ear]).subspan(4800 + dipFrames),
                                      std::span(expected[ear]).subspan(4800 + dipFrames))
              < 1e-6);
    Rig first;
    const Stereo before = first.play(4800, evenBlocks, [](std::size_t) {});
    CHECK(std::equal(before[0].begin(), before[0].end(), output[0].begin()));
}

TEST_CASE("What is set elsewhere does not reach a running test, but the output level does",
          "[core][audition][blind]")
{
    BlindListening listening;
    listening.prepare(sampleRate);
    AuditionEngine::Parameters held = test::programmeAlone();
    held.ride.speedKmh = 80.0;
    held.match = audition::LevelMatch::equalLoudness;
    AuditionEngine::Parameters own = test::programmeAlone();
    CHECK(listening.parametersOver(own) == own);
    listening.begin(held, 3);
    own.candidate = 1;
    own.ride.speedKmh = 10.0;
    own.monitor = audition::Monitor::noiseOnly;
    own.outputLevelDb = -31.0;
    own.ceilingDbfs = -20.0;
    AuditionEngine::Parameters expected = held;
    expected.candidate = 3;
    expected.outputLevelDb = -31.0;
    expected.ceilingDbfs = -20.0;
    CHECK(listening.parametersOver(own) == expected);
    own.monitor = audition::Monitor::untouched; // a host's bypass stays a bypass
    CHECK(listening.parametersOver(own).monitor == audition::Monitor::untouched);
    listening.switchTo(5);
    CHECK(listening.parametersOver(own).candidate == 5);
    listening.end();
    CHECK(listening.parametersOver(own) == own);
    CHECK_FALSE(listening.isActive());
}

TEST_CASE("Blind switching does not depend on how the stream is cut", "[core][audition][blind]")
{
    const auto run = [](std::span<const std::size_t> blocks) {
        Rig rig;
        return rig.play(48000, blocks, [&](std::size_t done) {
            if (done == 9600)
                rig.listening.begin(rig.own, 1);
            if (done == 19200)
                rig.listening.switchTo(0);
            if (done == 21600)
                rig.listening.switchTo(1); // while it is dark
            if (done == 38400)
                rig.listening.end();
        });
    };
    constexpr std::array<std::size_t, 6> odd {1, 63, 256, 17, 943, 1120}; // adds up to 2400
    constexpr std::array<std::size_t, 1> large {2400};
    CHECK(run(evenBlocks) == run(large));
    CHECK(run(odd) == run(large));
}

TEST_CASE("Many quick switches never step", "[core][audition][blind]")
{
    Rig rig;
    const Stereo output = rig.play(48000, evenBlocks, [&](std::size_t done) {
        if (done == 0)
            rig.listening.begin(rig.own, 0);
        else if (done % 1440 == 0)
            rig.listening.switchTo(done / 1440 % 3);
    });
    Rig steady;
    const Stereo plain = steady.play(48000, evenBlocks, [](std::size_t) {});
    // No more than the programme's own steps through the louder of the responses.
    for (std::size_t ear = 0; ear < 2; ++ear)
        CHECK(test::largestStep(output[ear]) < 2.0 * test::largestStep(plain[ear]));
}

TEST_CASE("Blind listening neither allocates nor locks on the audio thread",
          "[core][audition][blind]")
{
    Rig rig;
    rig.listening.begin(rig.own, 0);
    std::array<std::vector<float>, 2> ears {std::vector<float>(480, 0.1F),
                                            std::vector<float>(480, 0.1F)};
    const std::array<const float*, 2> from {ears[0].data(), ears[1].data()};
    const std::array<float*, 2> to {ears[0].data(), ears[1].data()};
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    for (std::size_t block = 0; block < 60; ++block) {
        if (block % 7 == 0)
            rig.listening.switchTo(block % 3);
        rig.listening.process(rig.engine, rig.own, {from.data(), 2, 480}, {to.data(), 2, 480});
    }
    rig.listening.end();
    rig.listening.process(rig.engine, rig.own, {from.data(), 2, 480}, {to.data(), 2, 480});
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
}

TEST_CASE("Runs begin, switch and end while the audio goes on", "[core][audition][blind]")
{
    // For the thread sanitizer above all.
    Rig rig;
    std::atomic<bool> isDone {false};
    std::thread messages([&] {
        for (std::size_t round = 0; !isDone.load(); ++round) {
            if (round % 10 == 0)
                rig.listening.begin(rig.own, round % 3);
            else if (round % 10 == 9)
                rig.listening.end();
            else
                rig.listening.switchTo(round % 3);
            std::this_thread::yield();
        }
        rig.listening.end();
    });
    const Stereo output = rig.play(96000, evenBlocks, [](std::size_t) {});
    isDone = true;
    messages.join();
    for (const auto& ear : output)
        CHECK(std::ranges::all_of(ear, [](float sample) { return std::isfinite(sample); }));
    // Once it is over and the dip has passed, it is as if nothing had been.
    Rig plain;
    rig.play(480, evenBlocks, [](std::size_t) {});
    const Stereo after = rig.play(48000, evenBlocks, [](std::size_t) {});
    plain.play(96480, evenBlocks, [](std::size_t) {});
    const Stereo expected = plain.play(48000, evenBlocks, [](std::size_t) {});
    for (std::size_t ear = 0; ear < 2; ++ear)
        CHECK(test::largestDifference(std::span(after[ear]).subspan(9600),
                                      std::span(expected[ear]).subspan(9600))
              < 1e-6);
}
