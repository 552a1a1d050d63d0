#include "Core/Measure/LevelMeter.h"

#include "Support/AllocationCounter.h"
#include "Support/LockCounter.h"

#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

std::vector<float> sine(double sampleRate, double frequencyHz, double amplitude, double seconds)
{
    std::vector<float> samples(static_cast<std::size_t>(seconds * sampleRate));
    for (std::size_t frame = 0; frame < samples.size(); ++frame)
        samples[frame] = static_cast<float>(amplitude
                                            * std::sin(2.0 * std::numbers::pi * frequencyHz
                                                       * static_cast<double>(frame) / sampleRate));
    return samples;
}

} // namespace

TEST_CASE("A meter reads the level of a sine after AES17, at any sample rate", "[core][measure]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0, 192000.0);
    const double levelDbfs = GENERATE(-0.1, -20.0, -60.0);
    measure::LevelMeter meter;
    meter.prepare(sampleRate);
    // Eight time constants: what is missing of the steady level is 0.002 dB.
    meter.process(sine(sampleRate, 997.0, std::pow(10.0, levelDbfs / 20.0), 2.4));
    // Twice 997 Hz still ripples through 0.3 s by 0.001 dB.
    CHECK(meter.rmsDbfs() == Approx(levelDbfs).margin(0.01));
    // The sine's highest sample lies up to 0.02 dB below its crest at 44.1 kHz.
    CHECK(meter.peakDbfs() == Approx(levelDbfs).margin(0.03));
    CHECK_FALSE(meter.isClipHeld());
}

TEST_CASE("A meter's peak falls by 20 dB in 1.7 s, the return time of IEC 60268-18",
          "[core][measure]")
{
    const double sampleRate = GENERATE(44100.0, 96000.0);
    measure::LevelMeter meter;
    meter.prepare(sampleRate);
    meter.process(std::vector<float> {0.5F});
    const double beforeDbfs = meter.peakDbfs();
    meter.process(std::vector<float>(static_cast<std::size_t>(1.7 * sampleRate), 0.0F));
    CHECK(meter.peakDbfs() - beforeDbfs == Approx(-20.0).margin(0.01));
}

TEST_CASE("The clip light stays lit until it is reset, and counts each place once",
          "[core][measure]")
{
    measure::LevelMeter meter;
    meter.prepare(48000.0);
    // The highest sample that a 16-bit converter gives, in two neighbouring blocks: one place.
    const float highest = 32767.0F / 32768.0F;
    meter.process(std::vector<float> {0.0F, highest, highest});
    meter.process(std::vector<float> {highest, 0.0F});
    CHECK(meter.numClips() == 1);
    meter.process(std::vector<float> {-1.0F, 0.0F, std::numeric_limits<float>::quiet_NaN(), 0.0F,
                                      1.5F, 0.0F, 32766.0F / 32768.0F});
    CHECK(meter.numClips() == 4);
    CHECK(meter.isClipHeld());
    meter.process(std::vector<float>(96000, 0.0F));
    CHECK(meter.isClipHeld());
    CHECK(std::isfinite(meter.rmsDbfs()));
    meter.resetClip();
    CHECK_FALSE(meter.isClipHeld());
    CHECK(meter.totalClips() == 4);
    meter.process(std::vector<float> {1.0F});
    CHECK(meter.numClips() == 1);
}

TEST_CASE("A meter does not depend on how the stream is cut, and reset equals fresh",
          "[core][measure]")
{
    const auto samples = sine(48000.0, 333.0, 0.7, 0.5);
    measure::LevelMeter whole;
    whole.prepare(48000.0);
    whole.process(samples);
    measure::LevelMeter cut;
    cut.prepare(48000.0);
    cut.process(sine(48000.0, 50.0, 0.9, 0.1));
    cut.reset();
    std::size_t begin = 0;
    for (std::size_t length = 0; begin < samples.size(); length = (length * 7 + 3) % 1000) {
        const std::size_t count = std::min(length, samples.size() - begin);
        cut.process(std::span(samples).subspan(begin, count));
        begin += count;
    }
    CHECK(cut.peakDbfs() == whole.peakDbfs());
    CHECK(cut.rmsDbfs() == whole.rmsDbfs());
    measure::LevelMeter silent;
    silent.prepare(48000.0);
    silent.process(std::vector<float>(100, 0.0F));
    CHECK(silent.rmsDbfs() == -400.0);
}

TEST_CASE("A meter takes no memory and no lock", "[core][measure]")
{
    measure::LevelMeter meter;
    meter.prepare(48000.0);
    const auto samples = sine(48000.0, 1000.0, 1.2, 0.1);
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    meter.process(samples);
    meter.reset();
    CHECK(allocations.numHeapCalls() == 0);
    if (test::LockCounter::isAvailable())
        CHECK(locks.numLocks() == 0);
}
