#include "Core/Audition/CeilingLimiter.h"

#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

using namespace saddletone;
using audition::CeilingLimiter;

namespace {

constexpr float infinite = std::numeric_limits<float>::infinity();
constexpr float notANumber = std::numeric_limits<float>::quiet_NaN();

void run(CeilingLimiter& limiter, test::Stereo& audio, std::size_t blockFrames)
{
    for (std::size_t begin = 0; begin < audio[0].size(); begin += blockFrames) {
        const std::size_t count = std::min(blockFrames, audio[0].size() - begin);
        const std::array<float*, 2> ears {audio[0].data() + begin, audio[1].data() + begin};
        limiter.process({ears.data(), 2, count});
    }
}

double peakOf(const test::Stereo& audio)
{
    double peak = 0.0;
    for (const auto& ear : audio)
        for (const float sample : ear)
            peak = std::isfinite(sample) ? std::max(peak, std::abs(static_cast<double>(sample)))
                                         : std::numeric_limits<double>::infinity();
    return peak;
}

CeilingLimiter limiterAt(double ceilingDbfs, double sampleRate = 48000.0, double releaseMs = 80.0)
{
    CeilingLimiter limiter;
    limiter.prepare({.sampleRate = sampleRate});
    limiter.setParameters({.ceilingDbfs = ceilingDbfs, .releaseMs = releaseMs});
    return limiter;
}

} // namespace

TEST_CASE("No sample leaves the ceiling", "[core][audition]")
{
    const double ceilingDbfs = GENERATE(-60.0, -6.0, -0.1, 0.0);
    CAPTURE(ceilingDbfs);
    // The ceiling as the nearest single-precision number.
    const auto ceiling =
        static_cast<double>(static_cast<float>(std::pow(10.0, ceilingDbfs / 20.0)));

    SECTION("white noise 40 dB above full scale")
    {
        test::Stereo audio {test::gaussianNoise(48000, 100.0, 1),
                            test::gaussianNoise(48000, 100.0, 2)};
        auto limiter = limiterAt(ceilingDbfs);
        run(limiter, audio, 512);
        CHECK(peakOf(audio) <= ceiling);
        CHECK(peakOf(audio) >= 0.999 * ceiling);
    }
    SECTION("square waves of rising level")
    {
        test::Stereo audio {std::vector<float>(48000), std::vector<float>(48000)};
        for (std::size_t frame = 0; frame < 48000; ++frame) {
            const float level = 1e-4F * static_cast<float>(frame);
            audio[0][frame] = frame / 50 % 2 == 0 ? level : -level;
            audio[1][frame] = frame / 37 % 2 == 0 ? level : -level;
        }
        auto limiter = limiterAt(ceilingDbfs);
        run(limiter, audio, 480);
        CHECK(peakOf(audio) <= ceiling);
    }
    SECTION("NaN, infinity, the largest and the smallest numbers")
    {
        test::Stereo audio {test::gaussianNoise(4800, 1.0, 3), test::gaussianNoise(4800, 1.0, 4)};
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
        for (std::size_t frame = 0; frame < 4800; frame += 3)
            audio[frame % 2][frame] = extremes[frame / 3 % extremes.size()];
        auto limiter = limiterAt(ceilingDbfs);
        run(limiter, audio, 64);
        CHECK(peakOf(audio) <= ceiling);
    }
}

TEST_CASE("A ceiling or release time out of range never lets a signal through", "[core][audition]")
{
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double inf = std::numeric_limits<double>::infinity();
    const double ceilingDbfs = GENERATE_COPY(as<double> {}, nan, -inf, inf, -1000.0, 40.0);
    const double releaseMs = GENERATE_COPY(as<double> {}, nan, -inf, inf, -5.0, 80.0);
    CAPTURE(ceilingDbfs, releaseMs);
    auto limiter = limiterAt(ceilingDbfs, 48000.0, releaseMs);
    test::Stereo audio {test::gaussianNoise(4800, 10.0, 1), test::gaussianNoise(4800, 10.0, 2)};
    run(limiter, audio, 512);
    CHECK(peakOf(audio) <= 1.0);
}

TEST_CASE("The limiter passes what stays below the ceiling bit for bit", "[core][audition]")
{
    test::Stereo audio {test::gaussianNoise(48000, 0.1, 7), test::gaussianNoise(48000, 0.1, 8)};
    const auto ceiling = static_cast<float>(std::pow(10.0, -6.0 / 20.0));
    for (auto& ear : audio)
        for (float& sample : ear)
            sample = std::clamp(sample, -ceiling, ceiling);
    audio[0][100] = ceiling;
    audio[1][200] = -ceiling;
    const test::Stereo before = audio;
    auto limiter = limiterAt(-6.0);
    run(limiter, audio, 100);
    CHECK(audio == before);
    CHECK(limiter.currentGain() == 1.0);
}

TEST_CASE("Both channels are turned down alike", "[core][audition]")
{
    test::Stereo audio {test::gaussianNoise(48000, 3.0, 9), test::gaussianNoise(48000, 0.3, 10)};
    const test::Stereo before = audio;
    auto limiter = limiterAt(-6.0);
    run(limiter, audio, 512);
    double largestError = 0.0;
    for (std::size_t frame = 0; frame < before[0].size(); ++frame)
        if (std::abs(before[0][frame]) > 1e-3F && std::abs(before[1][frame]) > 1e-3F) {
            const double left =
                static_cast<double>(audio[0][frame]) / static_cast<double>(before[0][frame]);
            const double right =
                static_cast<double>(audio[1][frame]) / static_cast<double>(before[1][frame]);
            largestError = std::max(largestError, std::abs(left / right - 1.0));
        }
    // One rounding to single precision in each channel.
    CHECK(largestError < 2.5e-7);
}

TEST_CASE("The gain recovers with the release time constant", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0, 192000.0);
    const double releaseMs = GENERATE(1.0, 80.0, 2000.0);
    CAPTURE(sampleRate, releaseMs);
    auto limiter = limiterAt(-6.0, sampleRate, releaseMs);
    const double ceiling = std::pow(10.0, -6.0 / 20.0);
    // One sample of 10 needs the gain ceiling / 10; from there the rest to 1 falls by e in each
    // time constant.
    const auto frames = static_cast<std::size_t>(std::lround(0.001 * releaseMs * sampleRate));
    test::Stereo audio {std::vector<float>(1 + frames, 1e-3F),
                        std::vector<float>(1 + frames, 1e-3F)};
    audio[0][0] = 10.0F;
    run(limiter, audio, 512);
    const double timeConstants = static_cast<double>(frames) / (0.001 * releaseMs * sampleRate);
    const double expected = 1.0 - (1.0 - ceiling / 10.0) * std::exp(-timeConstants);
    CHECK(limiter.currentGain() == Approx(expected).epsilon(1e-6));
}

TEST_CASE("Limiting does not depend on how the stream is cut", "[core][audition]")
{
    const test::Stereo source {test::gaussianNoise(20000, 1.0, 13),
                               test::gaussianNoise(20000, 1.0, 14)};
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

TEST_CASE("A limiter that was reset equals a fresh one, and silence stays silent",
          "[core][audition]")
{
    auto limiter = limiterAt(-20.0);
    test::Stereo loud {test::gaussianNoise(1000, 5.0, 15), test::gaussianNoise(1000, 5.0, 16)};
    run(limiter, loud, 64);
    CHECK(limiter.currentGain() < 0.1);
    limiter.reset();
    CHECK(limiter.currentGain() == 1.0);

    test::Stereo silence {std::vector<float>(1000), std::vector<float>(1000)};
    run(limiter, silence, 64);
    CHECK(peakOf(silence) == 0.0);
}

TEST_CASE("The limiter takes no memory while it runs", "[core][audition]")
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
