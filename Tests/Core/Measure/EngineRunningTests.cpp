#include "Core/Dsp/RandomSource.h"
#include "Core/Measure/Measurement.h"
#include "Support/EngineNoise.h"
#include "Support/SweepTakes.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

/** Eight repeats of a sound with stretches of noise from anywhere in a pool. */
measure::Recording eightRepeats(const std::vector<double>& sound, double sampleRate,
                                const std::vector<double>& noise, std::uint64_t seed)
{
    constexpr std::size_t numRepeats = 8;
    dsp::RandomSource random(seed);
    std::vector<double> all;
    for (std::size_t repeat = 0; repeat < numRepeats; ++repeat) {
        const auto offset = static_cast<std::size_t>(
            random.nextUniform() * static_cast<double>(noise.size() - sound.size()));
        for (std::size_t frame = 0; frame < sound.size(); ++frame)
            all.push_back(sound[frame] + noise[offset + frame]);
    }
    return test::asRecording(all, sampleRate);
}

} // namespace

TEST_CASE("With the engine 20 dB below the sweep in each band, eight sweeps are right to 0.3 dB",
          "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    const auto sound = test::SimulatedBike().play(track.audio.channels.front(), 48000.0);
    const auto noise = test::makeEngineNoise({.sweepAmplitude = 0.2512, .seed = 5}, 48000 * 40);
    const auto response = test::measureTakes(track, {eightRepeats(sound, 48000.0, noise, 1)});
    REQUIRE(response.numTakes == 8);
    std::size_t numBands = 0;
    for (const auto& band : response.bands) {
        if (band.frequencyHz < 49.0 || band.frequencyHz > 16500.0)
            continue;
        INFO(band.frequencyHz << " Hz, interval " << band.interval95Db << " dB, SNR "
                              << band.snrDb);
        CHECK(band.levelDb == Approx(test::bikeBandDb(band.frequencyHz)).margin(0.3));
        CHECK(band.trusted);
        CHECK(band.interval95Db < 0.5);
        ++numBands;
    }
    CHECK(numBands == 26);
}

TEST_CASE("The 95 % interval covers the truth in at least nine of ten measurements with the engine "
          "running",
          "[core][measure][statistics]")
{
    const auto track = test::makeSmallSweepTrack(6.0);
    const double rate = track.audio.sampleRate;
    const auto sound = test::SimulatedBike().play(track.audio.channels.front(), rate);
    const auto noise = test::makeEngineNoise({.sampleRate = rate, .seed = 9},
                                             static_cast<std::size_t>(rate) * 900);
    constexpr std::uint64_t numRuns = 200;
    std::map<double, std::size_t> covered;
    std::map<double, double> truth;
    std::size_t numWithin = 0;
    std::size_t numErrors = 0;
    double squares = 0.0;
    double widths = 0.0;
    for (std::uint64_t run = 0; run < numRuns; ++run) {
        const auto response =
            test::measureTakes(track, {eightRepeats(sound, rate, noise, 100 + run)});
        REQUIRE(response.numTakes == 8);
        for (const auto& band : response.bands) {
            if (band.frequencyHz < 49.0 || band.frequencyHz > 1300.0)
                continue;
            if (run == 0)
                truth[band.frequencyHz] = test::bikeBandDb(band.frequencyHz);
            const double errorDb = std::abs(band.levelDb - truth[band.frequencyHz]);
            covered[band.frequencyHz] += errorDb <= band.interval95Db ? 1U : 0U;
            numWithin += errorDb <= 0.3 ? 1U : 0U;
            squares += errorDb * errorDb;
            widths += band.interval95Db;
            ++numErrors;
        }
    }
    REQUIRE(covered.size() == 15);
    for (const auto& [frequencyHz, count] : covered) {
        INFO(frequencyHz << " Hz: " << count << " of " << numRuns);
        CHECK(count >= numRuns * 9 / 10);
    }
    const auto total = static_cast<double>(numErrors);
    INFO("RMS error " << std::sqrt(squares / total) << " dB, mean interval " << widths / total
                      << " dB, within 0.3 dB " << numWithin << " of " << numErrors);
    CHECK(static_cast<double>(numWithin) >= 0.99 * total);
    // An interval that covers by being wide says nothing: three times the error is enough.
    CHECK(widths / total < 3.5 * std::sqrt(squares / total));
}
