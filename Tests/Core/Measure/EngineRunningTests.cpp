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

/** Standard deviation in dB of a band's level when noise is all that disturbs it. A sweep of T seconds
    spends T ln(10^0.1) / ln(f2 / f1) in a third octave; its energy there over the noise's density is
    the ratio of powers times this time times the bandwidth, and of a complex mean the power errs by
    the square root of two over it. */
double theoreticalErrorDb(const signals::SweepShape& sweep, double sampleRate, double centreHz,
                          double belowSweepDb, double numSweeps)
{
    const double seconds = static_cast<double>(sweep.numFrames) / sampleRate
                           * std::log(std::pow(10.0, 0.1)) / std::log(sweep.toHz / sweep.fromHz);
    const double bandwidthHz = centreHz * (std::pow(10.0, 0.05) - std::pow(10.0, -0.05));
    const double energyRatio =
        numSweeps * std::pow(10.0, 0.1 * belowSweepDb) * seconds * bandwidthHz;
    return 10.0 / std::log(10.0) * std::sqrt(2.0 / energyRatio);
}

} // namespace

TEST_CASE(
    "With the engine 20 dB below the sweep in each band, eight sweeps are right to 0.3 dB from "
    "40 Hz up",
    "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    REQUIRE(track.description.sweepLayout);
    const auto sound = test::SimulatedBike().play(track.audio.channels.front(), 48000.0);
    std::map<double, double> truth;
    double squares = 0.0;
    std::size_t numErrors = 0;
    for (std::uint64_t engine = 5; engine < 8; ++engine) {
        const auto noise =
            test::makeEngineNoise({.sweepAmplitude = 0.2512, .seed = engine}, 48000 * 40);
        for (std::uint64_t run = 0; run < 2; ++run) {
            const auto response = test::measureTakes(
                track, {eightRepeats(sound, 48000.0, noise, dsp::mixSeed(engine, run))});
            REQUIRE(response.numTakes == 8);
            std::size_t numBands = 0;
            for (const auto& band : response.bands) {
                if (band.frequencyHz < 39.0 || band.frequencyHz > 16500.0)
                    continue;
                ++numBands;
                const auto known = truth.try_emplace(band.frequencyHz, 0.0);
                if (known.second)
                    known.first->second = test::bikeBandDb(band.frequencyHz);
                const double errorDb = band.levelDb - known.first->second;
                const double expectedDb = theoreticalErrorDb(track.description.sweepLayout->sweep,
                                                             48000.0, band.frequencyHz, 20.0, 8.0);
                INFO("engine " << engine << ", run " << run << ": " << band.frequencyHz << " Hz, "
                               << errorDb << " dB, interval " << band.interval95Db
                               << " dB, standard deviation by theory " << expectedDb << " dB");
                // At 40 Hz this is 2.6 standard deviations: one measurement in a hundred is further
                // off, whatever is done with eight sweeps of 12 s.
                CHECK(std::abs(errorDb) < 0.3);
                CHECK(band.trusted);
                // Student's t for eight takes is 2.4 standard deviations, which eight takes may tell
                // twice as large as they are.
                CHECK(band.interval95Db < 5.0 * expectedDb + 0.02);
                squares += std::pow(errorDb / std::hypot(expectedDb, 0.005), 2.0);
                ++numErrors;
            }
            CHECK(numBands == 27);
        }
    }
    // Nothing but the noise is in the errors: 162 of them scatter by 6 % about theory, and the
    // engine's lines hold their power in fewer values than white noise.
    const double ratio = std::sqrt(squares / static_cast<double>(numErrors));
    INFO("errors are " << ratio << " times those of theory");
    CHECK(ratio > 0.75);
    CHECK(ratio < 1.25);
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
