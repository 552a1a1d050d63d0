#include "Core/Audition/TruePeakLimiter.h"

#include "Core/Hearing/TruePeak.h"
#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace saddletone;
using audition::TruePeakLimiter;

namespace {

constexpr float infinite = std::numeric_limits<float>::infinity();
constexpr float notANumber = std::numeric_limits<float>::quiet_NaN();

void run(TruePeakLimiter& limiter, test::Stereo& audio, std::size_t blockFrames)
{
    for (std::size_t begin = 0; begin < audio[0].size(); begin += blockFrames) {
        const std::size_t count = std::min(blockFrames, audio[0].size() - begin);
        const std::array<float*, 2> ears {audio[0].data() + begin, audio[1].data() + begin};
        limiter.process({ears.data(), 2, count});
    }
}

TruePeakLimiter limiterAt(double ceilingDbfs, double sampleRate = 48000.0, double releaseMs = 80.0)
{
    TruePeakLimiter limiter;
    limiter.prepare({.sampleRate = sampleRate});
    limiter.setParameters({.ceilingDbfs = ceilingDbfs, .releaseMs = releaseMs});
    return limiter;
}

/** True peak of both channels as libebur128 reads it. */
double truePeakOf(const test::Stereo& audio, double sampleRate = 48000.0)
{
    for (const auto& ear : audio)
        if (!std::ranges::all_of(ear, [](float sample) { return std::isfinite(sample); }))
            return std::numeric_limits<double>::infinity();
    return hearing::truePeakDbtp({sampleRate, {audio[0], audio[1]}});
}

std::vector<float> sine(std::size_t numFrames, double amplitude, double normalisedFrequency,
                        double phaseDegrees)
{
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] =
            static_cast<float>(amplitude
                               * std::sin(2.0 * std::numbers::pi
                                          * (normalisedFrequency * static_cast<double>(frame)
                                             + phaseDegrees / 360.0)));
    return samples;
}

/** Signals that go far between their samples, up to some 12 dB above full scale. */
std::vector<float> worstCase(const std::string& name)
{
    constexpr std::size_t numFrames = 30000;
    std::vector<float> samples(numFrames);
    if (name == "quarter of the rate at 45 degrees")
        return sine(numFrames, 1.0, 0.25, 45.0);
    if (name == "sixth of the rate at 60 degrees")
        return sine(numFrames, 2.0, 1.0 / 6.0, 60.0);
    if (name == "nearly half the rate")
        return sine(numFrames, 3.0, 0.479, 0.0);
    if (name == "1 kHz")
        return sine(numFrames, 1.0, 1.0 / 48.0, 10.0);
    if (name == "white noise")
        return test::gaussianNoise(numFrames, 1.0, 31);
    if (name == "random signs") {
        samples = test::gaussianNoise(numFrames, 1.0, 32);
        for (float& sample : samples)
            sample = sample > 0.0F ? 1.0F : -1.0F;
    } else if (name == "square") {
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            samples[frame] = frame / 24 % 2 == 0 ? 1.0F : -1.0F;
    } else if (name == "step of 52 dB") {
        samples = sine(numFrames, 4.0, 0.107, 0.0);
        for (std::size_t frame = 0; frame < 9001; ++frame)
            samples[frame] *= 0.0025F;
    } else if (name == "single samples") {
        for (std::size_t frame = 0; frame < numFrames; frame += 37)
            samples[frame] = frame % 2 == 0 ? 3.0F : -3.0F;
    } else {
        FAIL("no signal of that name");
    }
    return samples;
}

} // namespace

TEST_CASE("No true peak leaves the ceiling, by libebur128", "[core][audition]")
{
    // Their own allowance for meters is 0.2 dB (EBU Tech 3341); ours is rounding.
    const std::string name =
        GENERATE(as<std::string> {}, "quarter of the rate at 45 degrees",
                 "sixth of the rate at 60 degrees", "nearly half the rate", "1 kHz", "white noise",
                 "random signs", "square", "step of 52 dB", "single samples");
    const double ceilingDbfs = GENERATE(-30.0, -6.0, 0.0);
    CAPTURE(name, ceilingDbfs);
    test::Stereo audio {worstCase(name), worstCase(name)};
    std::ranges::reverse(audio[1]);
    CHECK(truePeakOf(audio) > ceilingDbfs);
    auto limiter = limiterAt(ceilingDbfs);
    run(limiter, audio, 512);
    CHECK(truePeakOf(audio) <= ceilingDbfs + 1e-4);
    // And no more is taken than the wait for later samples costs.
    CHECK(truePeakOf(audio) >= ceilingDbfs - 1.1);
}

TEST_CASE("No true peak leaves the ceiling at other sample rates", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 88200.0, 96000.0, 176400.0, 192000.0);
    CAPTURE(sampleRate);
    for (const char* name : {"quarter of the rate at 45 degrees", "white noise", "random signs"}) {
        CAPTURE(name);
        test::Stereo audio {worstCase(name), worstCase("square")};
        auto limiter = limiterAt(-6.0, sampleRate);
        run(limiter, audio, 480);
        CHECK(truePeakOf(audio, sampleRate) <= -6.0 + 1e-4);
    }
}

TEST_CASE("A limited sine keeps its shape", "[core][audition]")
{
    // In the steady state the gain only breathes between two peaks: by 1 - exp(-0.5 ms / 80 ms).
    test::Stereo audio {worstCase("1 kHz"), worstCase("1 kHz")};
    const test::Stereo before = audio;
    auto limiter = limiterAt(-6.0);
    run(limiter, audio, 512);
    double lowest = 1.0;
    double highest = 0.0;
    for (std::size_t frame = 20000; frame < 30000; ++frame)
        if (std::abs(before[0][frame]) > 0.1F) {
            const double gain =
                static_cast<double>(audio[0][frame]) / static_cast<double>(before[0][frame]);
            lowest = std::min(lowest, gain);
            highest = std::max(highest, gain);
        }
    CHECK(highest / lowest < 1.02);
}

TEST_CASE("NaN, infinity and the largest numbers leave as silence or below the ceiling, and the "
          "limiter recovers",
          "[core][audition]")
{
    constexpr std::array extremes {notANumber,
                                   -notANumber,
                                   infinite,
                                   -infinite,
                                   1e30F,
                                   -1e30F,
                                   std::numeric_limits<float>::max(),
                                   std::numeric_limits<float>::lowest(),
                                   std::numeric_limits<float>::min(),
                                   std::numeric_limits<float>::denorm_min()};
    test::Stereo audio {test::gaussianNoise(4800, 1.0, 3), test::gaussianNoise(4800, 1.0, 4)};
    for (std::size_t frame = 0; frame < 4800; frame += 3)
        audio[frame % 2][frame] = extremes[frame / 3 % extremes.size()];
    auto limiter = limiterAt(-6.0);
    run(limiter, audio, 64);
    CHECK(truePeakOf(audio) <= -6.0 + 1e-4);

    // After 20 time constants it is as new.
    test::Stereo later {test::gaussianNoise(100000, 0.02, 5), test::gaussianNoise(100000, 0.02, 6)};
    const test::Stereo before = later;
    run(limiter, later, 512);
    CHECK(limiter.currentGain() == 1.0);
    CHECK(later[0].back() == before[0].back());
}

TEST_CASE("A true-peak ceiling or release time out of range never lets a signal through",
          "[core][audition]")
{
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double inf = std::numeric_limits<double>::infinity();
    const double ceilingDbfs = GENERATE_COPY(as<double> {}, nan, -inf, inf, -1000.0, 40.0);
    const double releaseMs = GENERATE_COPY(as<double> {}, nan, -inf, inf, -5.0, 80.0);
    CAPTURE(ceilingDbfs, releaseMs);
    auto limiter = limiterAt(ceilingDbfs, 48000.0, releaseMs);
    test::Stereo audio {test::gaussianNoise(4800, 10.0, 1), test::gaussianNoise(4800, 10.0, 2)};
    run(limiter, audio, 512);
    CHECK(truePeakOf(audio) <= 1e-4);
}

TEST_CASE("The true-peak limiter passes what stays 7 dB below the ceiling bit for bit",
          "[core][audition]")
{
    // The interpolation's weights add up to 2.1 at the most, which is 6.5 dB.
    test::Stereo audio {test::gaussianNoise(48000, 0.1, 7), test::gaussianNoise(48000, 0.1, 8)};
    const auto highest = static_cast<float>(std::pow(10.0, -13.0 / 20.0));
    for (auto& ear : audio)
        for (float& sample : ear)
            sample = std::clamp(sample, -highest, highest);
    const test::Stereo before = audio;
    auto limiter = limiterAt(-6.0);
    run(limiter, audio, 100);
    CHECK(audio == before);
    CHECK(limiter.currentGain() == 1.0);
}

TEST_CASE("The true-peak limiter leaves a sine alone up to 1.3 dB below the ceiling",
          "[core][audition]")
{
    const double normalisedFrequency = GENERATE(0.001, 1.0 / 48.0, 0.1, 0.25);
    CAPTURE(normalisedFrequency);
    const double amplitude = std::pow(10.0, -7.3 / 20.0);
    test::Stereo audio {sine(20000, amplitude, normalisedFrequency, 45.0),
                        sine(20000, amplitude, normalisedFrequency, 0.0)};
    for (auto& ear : audio) // a start without a step, which would have a peak of its own
        for (std::size_t frame = 0; frame < 2000; ++frame)
            ear[frame] *= static_cast<float>(frame) / 2000.0F;
    const test::Stereo before = audio;
    auto limiter = limiterAt(-6.0);
    run(limiter, audio, 512);
    CHECK(audio == before);
}

TEST_CASE("Both channels are turned down alike by the true-peak limiter", "[core][audition]")
{
    test::Stereo audio {test::gaussianNoise(48000, 3.0, 9), test::gaussianNoise(48000, 0.3, 10)};
    const test::Stereo before = audio;
    auto limiter = limiterAt(-6.0);
    run(limiter, audio, 512);
    double largestError = 0.0;
    for (std::size_t frame = 0; frame < before[0].size(); ++frame) {
        // Of a sample that finds no room at all nothing is left in either channel.
        if (std::abs(audio[0][frame]) < 1e-5F || std::abs(audio[1][frame]) < 1e-5F)
            continue;
        const double left =
            static_cast<double>(audio[0][frame]) / static_cast<double>(before[0][frame]);
        const double right =
            static_cast<double>(audio[1][frame]) / static_cast<double>(before[1][frame]);
        largestError = std::max(largestError, std::abs(left / right - 1.0));
    }
    // One rounding to single precision in each channel.
    CHECK(largestError < 2.5e-7);
}

TEST_CASE("True-peak limiting does not depend on how the stream is cut", "[core][audition]")
{
    // Quiet and loud by turns, so that the way for quiet blocks has its part in it.
    test::Stereo source {test::gaussianNoise(200000, 1.0, 13),
                         test::gaussianNoise(200000, 1.0, 14)};
    for (auto& ear : source)
        for (std::size_t frame = 20000; frame < 190000; ++frame)
            ear[frame] *= 0.01F;
    test::Stereo whole = source;
    auto reference = limiterAt(-6.0);
    run(reference, whole, source[0].size());
    for (const std::size_t block : {1U, 7U, 64U, 512U}) {
        test::Stereo pieces = source;
        auto limiter = limiterAt(-6.0);
        run(limiter, pieces, block);
        CHECK(pieces == whole);
    }
}

TEST_CASE("A true-peak limiter that was reset equals a fresh one, and silence stays silent",
          "[core][audition]")
{
    auto limiter = limiterAt(-20.0);
    test::Stereo loud {test::gaussianNoise(1000, 5.0, 15), test::gaussianNoise(1000, 5.0, 16)};
    const test::Stereo again = loud;
    run(limiter, loud, 64);
    CHECK(limiter.currentGain() < 0.1);
    limiter.reset();
    test::Stereo second = again;
    run(limiter, second, 64);
    CHECK(second == loud);

    limiter.reset();
    test::Stereo silence {std::vector<float>(1000), std::vector<float>(1000)};
    const test::Stereo silent = silence;
    run(limiter, silence, 64);
    CHECK(silence == silent);
}

TEST_CASE("The true-peak limiter takes no memory while it runs", "[core][audition]")
{
    auto limiter = limiterAt(-20.0);
    test::Stereo audio {test::gaussianNoise(1000, 5.0, 15), test::gaussianNoise(1000, 5.0, 16)};
    const std::array<float*, 2> ears {audio[0].data(), audio[1].data()};
    const test::AllocationCounter counter;
    limiter.process({ears.data(), 2, 1000});
    limiter.setParameters({.ceilingDbfs = -12.0});
    limiter.process({ears.data(), 2, 0});
    limiter.reset();
    CHECK(counter.numHeapCalls() == 0);
}
