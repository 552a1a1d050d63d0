// What an AuditionEngine may not do on the audio thread, and what other threads may do meanwhile.
#include "Core/Audition/AuditionEngine.h"

#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"
#include "Support/LockCounter.h"

#include <catch2/catch.hpp>

#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <memory>
#include <mutex>
#include <thread>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using audition::Monitor;
using test::Stereo;

namespace {

constexpr std::array<std::size_t, 4> unevenBlocks {512, 64, 33, 1};

} // namespace

TEST_CASE("The lock counter sees a lock", "[support]")
{
    if (!test::LockCounter::isAvailable())
        return;
    std::mutex mutex;
    const test::LockCounter counter;
    mutex.lock();
    mutex.unlock();
    CHECK(counter.numLocks() == 1);
}

TEST_CASE("The audio thread takes no memory, frees none and locks nothing", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 192000.0);
    CAPTURE(sampleRate);
    AuditionEngine engine({});
    AuditionEngine::Parameters parameters;
    parameters.ride.speedKmh = 100.0;
    engine.setParameters(parameters);
    engine.prepare({.sampleRate = sampleRate});
    const std::vector<std::vector<float>> candidates {test::decayingNoise(20000, 1),
                                                      test::decayingNoise(5000, 2)};
    const Stereo programme {test::gaussianNoise(30000, 0.1, 3), test::gaussianNoise(30000, 0.1, 4)};
    Stereo output;
    for (auto& ear : output)
        ear.reserve(200000);
    engine.publish(test::sceneOf(engine.layout(), candidates));

    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    const auto run = [&] {
        test::runEngineOver(engine, programme, 0, 30000, unevenBlocks, output);
        for (auto& ear : output)
            ear.clear();
    };
    run(); // Takes the scene up.
    parameters.candidate = 1;
    parameters.outputLevelDb = 0.0;
    engine.setParameters(parameters);
    run();
    for (const Monitor monitor : {Monitor::noiseOnly, Monitor::untouched, Monitor::programmeOnly}) {
        parameters.monitor = monitor;
        parameters.ceilingDbfs = -30.0;
        parameters.match = audition::LevelMatch::equalLoudness;
        engine.setParameters(parameters);
        run();
    }
    engine.reset();
    run();
    CHECK(engine.outputPeak() <= 1.0F);
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);

    // Leaving a scene frees nothing either.
    engine.publish(test::sceneOf(engine.layout(), candidates));
    const test::AllocationCounter whileLeaving;
    run();
    engine.reset();
    run();
    CHECK(whileLeaving.numHeapCalls() == 0);
}

TEST_CASE("Scenes may be published and collected while the audio thread runs", "[core][audition]")
{
    // Each scene's kernel says on which thread it was freed.
    static std::atomic<int> numAlive {0};
    static std::atomic<int> numFreedElsewhere {0};
    numAlive = 0;
    numFreedElsewhere = 0;
    const auto publisherThread = std::this_thread::get_id();

    constexpr int numScenes = 200;
    auto settings = test::promptSettings();
    settings.fadeSeconds = 0.005;
    settings.maxKernelSeconds = 0.05;
    float lastSample = 0.0F;
    float expected = 0.0F;
    std::size_t numHeapCalls = 0;
    {
        AuditionEngine engine(settings);
        auto parameters = test::programmeAlone();
        engine.setParameters(parameters);
        engine.prepare({});
        const auto makeScene = [&](float tap) {
            auto scene = std::make_unique<audition::AuditionScene>();
            for (int index = 0; index < 2; ++index) {
                audition::SceneCandidate candidate;
                ++numAlive;
                candidate.kernels[0][0] = std::shared_ptr<const audition::PartitionedKernel>(
                    new audition::PartitionedKernel(engine.layout(),
                                                    std::vector<float>(1000, tap / 1000.0F)),
                    [publisherThread](const audition::PartitionedKernel* kernel) {
                        if (std::this_thread::get_id() != publisherThread)
                            ++numFreedElsewhere;
                        --numAlive;
                        delete kernel;
                    });
                candidate.kernels[1][1] = candidate.kernels[0][0];
                scene->candidates.push_back(std::move(candidate));
            }
            return scene;
        };

        std::atomic<bool> running {true};
        std::atomic<bool> settling {
            false}; // no more switches, so that the end is not within a fade
        std::atomic<std::size_t> framesDone {0};
        std::thread audioThread([&] {
            const dsp::ScopedFlushDenormals flushDenormals;
            const std::vector<float> programme(512, 0.5F);
            std::vector<float> left(512);
            std::vector<float> right(512);
            const std::array<const float*, 2> input {programme.data(), programme.data()};
            const std::array<float*, 2> ears {left.data(), right.data()};
            const test::AllocationCounter counter;
            std::size_t block = 0;
            while (running.load()) {
                const std::size_t frames = unevenBlocks[block % unevenBlocks.size()];
                const bool settled = settling.load();
                parameters.candidate = settled ? 0 : block / 50 % 2;
                engine.setParameters(parameters);
                if (block % 400 == 399 && !settled)
                    engine.reset();
                engine.process({input.data(), 2, frames}, {ears.data(), 2, frames});
                lastSample = left[frames - 1];
                ++block;
                framesDone.fetch_add(frames);
            }
            numHeapCalls = counter.numHeapCalls();
        });

        for (int scene = 1; scene <= numScenes; ++scene) {
            engine.publish(makeScene(static_cast<float>(scene) / static_cast<float>(numScenes)));
            if (scene % 3 == 0)
                std::this_thread::sleep_for(std::chrono::microseconds(300));
            if (scene % 5 == 0)
                engine.collectGarbage();
            CHECK(std::isfinite(engine.outputPeak()));
        }
        // The last one is heard in the end, and nothing but it is kept.
        settling = true;
        for (int turn = 0; turn < 8; ++turn) {
            engine.collectGarbage();
            const std::size_t until = framesDone.load() + 3000;
            while (framesDone.load() < until)
                std::this_thread::yield();
        }
        engine.collectGarbage();
        running = false;
        audioThread.join();
        CHECK(numAlive == 2);
        CHECK(numHeapCalls == 0);
        const auto last = makeScene(1.0F);
        expected = static_cast<float>(
            0.5
            * dsp::dbToAmplitude(levelsOf(*last, last->candidates[0], parameters).programmeGainDb));
    }
    CHECK(lastSample == Approx(expected).epsilon(1e-3));
    CHECK(numAlive == 0);
    CHECK(numFreedElsewhere == 0);
}
