#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Ride/RideNoise.h"

#include <array>
#include <cstddef>
#include <vector>

#include <benchmark/benchmark.h>

// The complete noise of a ride for both ears at 48 kHz, every source heard. The counter is the share
// of one core that it takes in real time, in per cent; at most 1 is allowed.

namespace {

using namespace saddletone;

constexpr double sampleRate = 48000.0;

ride::RideNoise::Parameters fullRide(ride::EnginePreset engine)
{
    ride::RideNoise::Parameters parameters;
    parameters.ride.speedKmh = 110.0;
    parameters.ride.screen = ride::Screen::low;
    parameters.ride.tyre.treadToneIsOn = true;
    parameters.ride.engine.firing = ride::firingPatternOf(engine);
    return parameters;
}

/** Plays a block an iteration; at every one the speed is another if it changes. */
void play(benchmark::State& state, ride::EnginePreset engine, bool speedChanges)
{
    const auto blockFrames = static_cast<std::size_t>(state.range(0));
    auto parameters = fullRide(engine);
    ride::RideNoise noise(1);
    noise.setParameters(parameters);
    noise.prepare({sampleRate, blockFrames, ride::RideNoise::numEars});
    std::vector<float> left(blockFrames);
    std::vector<float> right(blockFrames);
    const std::array<float*, 2> pointers {left.data(), right.data()};
    const dsp::ScopedFlushDenormals flushDenormals;
    for ([[maybe_unused]] auto iteration : state) {
        if (speedChanges) {
            parameters.ride.speedKmh += parameters.ride.speedKmh > 150.0 ? -90.0 : 0.1;
            noise.setParameters(parameters);
        }
        noise.process({pointers.data(), pointers.size(), blockFrames});
        benchmark::DoNotOptimize(left.data());
    }
    // Seconds of work over hundredths of seconds of audio.
    const double audioSeconds =
        static_cast<double>(state.iterations()) * static_cast<double>(blockFrames) / sampleRate;
    state.counters["core_percent"] = benchmark::Counter(
        audioSeconds / 100.0, benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}

void steadyTwin(benchmark::State& state)
{
    play(state, ride::EnginePreset::vTwin45, false);
}

void steadySix(benchmark::State& state)
{
    play(state, ride::EnginePreset::flatSix, false);
}

void accelerating(benchmark::State& state)
{
    play(state, ride::EnginePreset::flatSix, true);
}

BENCHMARK(steadyTwin)->Arg(64)->Arg(512);
BENCHMARK(steadySix)->Arg(64)->Arg(512);
BENCHMARK(accelerating)->Arg(64)->Arg(512);

} // namespace

BENCHMARK_MAIN();
