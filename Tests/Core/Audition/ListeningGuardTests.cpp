#include "Core/Audition/ListeningGuard.h"

#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

using namespace saddletone;
using audition::ListeningGuard;

namespace {

ListeningGuard guardAt(double ceilingDba, double headphoneSplAtFullScaleDb = 110.0,
                       double sampleRate = 48000.0)
{
    ListeningGuard guard;
    guard.setParameters(
        {.headphoneSplAtFullScaleDb = headphoneSplAtFullScaleDb, .ceilingDba = ceilingDba});
    guard.prepare({.sampleRate = sampleRate});
    return guard;
}

/** Runs a guard over audio; returns the highest level it told, after each of its blocks. */
double run(ListeningGuard& guard, test::Stereo& audio, std::size_t blockFrames = 64)
{
    double highest = dsp::silenceDb;
    for (std::size_t begin = 0; begin < audio[0].size(); begin += blockFrames) {
        const std::size_t count = std::min(blockFrames, audio[0].size() - begin);
        const std::array<float*, 2> ears {audio[0].data() + begin, audio[1].data() + begin};
        guard.process({ears.data(), 2, count});
        highest = std::max(highest, guard.levelDba());
    }
    return highest;
}

/** A sine of a level by AES17, in the left ear 6 dB less. */
test::Stereo tone(double seconds, double levelDbfs, double frequencyHz = 1000.0,
                  double sampleRate = 48000.0)
{
    test::Stereo audio;
    const auto numFrames = static_cast<std::size_t>(seconds * sampleRate);
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const auto sample =
            static_cast<float>(std::pow(10.0, levelDbfs / 20.0)
                               * std::sin(2.0 * std::numbers::pi * frequencyHz
                                          * static_cast<double>(frame) / sampleRate));
        audio[0].push_back(0.5F * sample);
        audio[1].push_back(sample);
    }
    return audio;
}

} // namespace

TEST_CASE("The level at the ear is that of the louder one, A-weighted", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0, 192000.0);
    CAPTURE(sampleRate);
    // -40 dBFS at 110 dB for full scale; 100 Hz weighs -19.1 dB by IEC 61672-1, table 3. After
    // 8 s of S weighting exp(-8) is missing.
    auto guard = guardAt(100.0, 110.0, sampleRate);
    auto audio = tone(8.0, -40.0, 1000.0, sampleRate);
    static_cast<void>(run(guard, audio));
    CHECK(guard.levelDba() == Approx(70.0).margin(0.05));
    guard.reset();
    audio = tone(8.0, -40.0, 100.0, sampleRate);
    static_cast<void>(run(guard, audio));
    CHECK(guard.levelDba() == Approx(50.9).margin(0.1));
    CHECK(guard.currentGain() == 1.0);
}

TEST_CASE("The level at the ear stays at its ceiling", "[core][audition]")
{
    const double overDb = GENERATE(0.5, 3.0, 10.0, 20.0);
    const double ceilingDba = GENERATE(70.0, 80.0);
    CAPTURE(overDb, ceilingDba);
    auto guard = guardAt(ceilingDba);
    auto audio = tone(20.0, ceilingDba - 110.0 + overDb);
    CHECK(run(guard, audio) < ceilingDba + (overDb > 15.0 ? 0.5 : 0.05));
    CHECK(guard.levelDba() == Approx(ceilingDba).margin(0.05));
    CHECK(dsp::amplitudeToDb(guard.currentGain()) == Approx(-overDb).margin(0.05));
}

TEST_CASE("Music keeps its beats under the ceiling of the level", "[core][audition]")
{
    // Bursts of 100 ms twice a second, 20 dB over what is between them.
    auto guard = guardAt(80.0);
    test::Stereo audio {test::gaussianNoise(960000, 0.02, 1), test::gaussianNoise(960000, 0.02, 2)};
    for (auto& ear : audio)
        for (std::size_t frame = 0; frame < ear.size(); ++frame)
            ear[frame] *= frame % 24000 < 4800 ? 1.0F : 0.1F;
    const test::Stereo before = audio;
    const double highest = run(guard, audio);
    CHECK(highest < 80.5);
    // In the last second the gain does not move with the beats.
    double lowestGain = 1.0;
    double highestGain = 0.0;
    for (std::size_t frame = 912000; frame < 960000; ++frame)
        if (std::abs(before[0][frame]) > 1e-3F) {
            const double gain =
                static_cast<double>(audio[0][frame]) / static_cast<double>(before[0][frame]);
            lowestGain = std::min(lowestGain, gain);
            highestGain = std::max(highestGain, gain);
        }
    CHECK(dsp::amplitudeToDb(highestGain / lowestGain) < 0.1);
}

TEST_CASE("The gain of the listening guard falls without a step, holds and then recovers by 1 dB a "
          "second",
          "[core][audition]")
{
    auto guard = guardAt(80.0);
    auto audio = tone(10.0, -20.0);
    const test::Stereo before = audio;
    static_cast<void>(run(guard, audio));
    double largestFall = 0.0;
    double last = 1.0;
    for (std::size_t frame = 0; frame < audio[1].size(); ++frame)
        if (std::abs(before[1][frame]) > 0.05F) {
            const double gain =
                static_cast<double>(audio[1][frame]) / static_cast<double>(before[1][frame]);
            largestFall = std::max(largestFall, last - gain);
            last = gain;
        }
    CHECK(largestFall < 0.01); // within the quarter period between two looks

    const double held = guard.currentGain();
    auto quiet = tone(9.5, -60.0);
    static_cast<void>(run(guard, quiet));
    CHECK(guard.currentGain() == held);
    quiet = tone(3.5, -60.0);
    static_cast<void>(run(guard, quiet));
    CHECK(dsp::amplitudeToDb(guard.currentGain() / held) == Approx(3.0).margin(0.05));
}

TEST_CASE("Where the headphones are not known the listening guard does nothing", "[core][audition]")
{
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double inf = std::numeric_limits<double>::infinity();
    const double unknown = GENERATE_COPY(0.0, nan, inf, -inf, 59.0, 151.0);
    CAPTURE(unknown);
    auto guard = guardAt(60.0, unknown);
    test::Stereo audio {test::gaussianNoise(48000, 0.5, 1), test::gaussianNoise(48000, 0.5, 2)};
    const test::Stereo before = audio;
    CHECK(run(guard, audio) == dsp::silenceDb);
    CHECK(audio == before);
    CHECK_FALSE(guard.isActive());
}

TEST_CASE("A ceiling of the level that is no number is the lowest", "[core][audition]")
{
    auto guard = guardAt(std::numeric_limits<double>::quiet_NaN());
    auto audio = tone(10.0, -30.0);
    static_cast<void>(run(guard, audio));
    CHECK(guard.levelDba() == Approx(60.0).margin(0.05));
}

TEST_CASE("The listening guard is not poisoned by what is no number", "[core][audition]")
{
    const float bad =
        GENERATE(std::numeric_limits<float>::quiet_NaN(), std::numeric_limits<float>::infinity(),
                 1e30F, std::numeric_limits<float>::denorm_min());
    auto guard = guardAt(80.0);
    test::Stereo audio {std::vector<float>(64, bad), std::vector<float>(64, bad)};
    static_cast<void>(run(guard, audio));
    for (const auto& ear : audio)
        CHECK(std::ranges::all_of(ear, [](float sample) { return std::isfinite(sample); }));
    auto later = tone(12.0, -40.0);
    static_cast<void>(run(guard, later));
    CHECK(std::isfinite(guard.levelDba()));
    CHECK(guard.levelDba() <= 80.1);
    CHECK(guard.currentGain() > 0.0);
}

TEST_CASE("The listening guard does not depend on how the stream is cut, and a reset makes it new",
          "[core][audition]")
{
    const test::Stereo source {test::gaussianNoise(100000, 0.2, 13),
                               test::gaussianNoise(100000, 0.2, 14)};
    test::Stereo whole = source;
    auto guard = guardAt(80.0);
    static_cast<void>(run(guard, whole, source[0].size()));
    for (const std::size_t block : {1U, 33U, 512U}) {
        test::Stereo pieces = source;
        guard.reset();
        static_cast<void>(run(guard, pieces, block));
        CHECK(pieces == whole);
    }
}

TEST_CASE("The listening guard takes no memory while it runs, and silence stays silent",
          "[core][audition]")
{
    auto guard = guardAt(80.0);
    test::Stereo audio {std::vector<float>(1000), std::vector<float>(1000)};
    const test::Stereo before = audio;
    const std::array<float*, 2> ears {audio[0].data(), audio[1].data()};
    const test::AllocationCounter counter;
    guard.process({ears.data(), 2, 1000});
    guard.setParameters({.headphoneSplAtFullScaleDb = 100.0});
    guard.process({ears.data(), 2, 0});
    guard.reset();
    CHECK(counter.numHeapCalls() == 0);
    CHECK(audio == before);
}
