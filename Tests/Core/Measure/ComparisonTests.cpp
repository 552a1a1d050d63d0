#include "Core/Measure/Comparison.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/Measurement.h"
#include "Core/Signals/Signal.h"
#include "Support/SimulatedBike.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <map>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

measure::Response withBands(const std::function<double(double)>& levelDb,
                            double uncertaintyDb = 0.05)
{
    measure::Response response;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        response.bands.push_back(
            {band.centreHz, levelDb(band.centreHz), 40.0, uncertaintyDb, true});
    return response;
}

/** Flat but for the bands named by their nominal frequencies. */
measure::Response withLevels(const std::map<double, double>& levelsDb)
{
    return withBands([&](double frequencyHz) {
        for (const auto& [nominalHz, levelDb] : levelsDb)
            if (std::abs(frequencyHz / nominalHz - 1.0) < 0.012)
                return levelDb;
        return 0.0;
    });
}

void distrust(measure::Response& response, double nominalHz)
{
    for (auto& band : response.bands)
        if (std::abs(band.frequencyHz / nominalHz - 1.0) < 0.012)
            band.trusted = false;
}

/** Measures a bike again and again without sound: each third octave is the mean power of as many
    independent lines as 0.675 s of response resolve, 200 at most, each with its share of noise. */
class RepeatedMeasurement {
public:
    RepeatedMeasurement(double snrDb, double repeatabilityDb, std::uint64_t seed)
        : snr(dsp::dbToPower(snrDb)), spreadDb(repeatabilityDb), random(seed)
    {
    }

    measure::Response measure(const std::function<double(double)>& changeDb)
    {
        measure::Response response;
        dsp::RandomSource bike(77); // the same lines every time
        for (const dsp::Band& band : dsp::thirdOctaveBands()) {
            const auto numLines = static_cast<std::size_t>(
                std::clamp(0.675 * (band.upperHz - band.lowerHz), 1.0, 200.0));
            const double gain = dsp::dbToAmplitude(changeDb(band.centreHz));
            std::vector<std::complex<double>> lines(numLines);
            double clean = 0.0;
            for (auto& line : lines) {
                line = gain * complexGaussian(bike);
                clean += std::norm(line) / static_cast<double>(numLines);
            }
            double power = 0.0;
            for (const auto& line : lines)
                power += std::norm(line + std::sqrt(clean / snr) * complexGaussian(random))
                         / static_cast<double>(numLines);
            // Relative variance of a mean power with noise: 2 / (SNR n).
            const double uncertaintyDb =
                10.0 / std::numbers::ln10 * std::sqrt(2.0 / (snr * static_cast<double>(numLines)));
            response.bands.push_back({band.centreHz,
                                      dsp::powerToDb(power) + spreadDb * random.nextGaussian(),
                                      dsp::powerToDb(snr), uncertaintyDb, true});
        }
        return response;
    }

private:
    static std::complex<double> complexGaussian(dsp::RandomSource& source)
    {
        const double real = source.nextGaussian() * std::numbers::sqrt2 / 2.0;
        return {real, source.nextGaussian() * std::numbers::sqrt2 / 2.0};
    }

    double snr;
    double spreadDb;
    dsp::RandomSource random;
};

constexpr int numPairs = 200;

double noChange(double)
{
    return 0.0;
}

/** In how many of 200 pairs a change is found. */
int timesFound(RepeatedMeasurement& bike, const std::function<double(double)>& changeDb)
{
    int found = 0;
    for (int pair = 0; pair < numPairs; ++pair) {
        const auto reference = bike.measure(noChange);
        found += measure::compareResponses(reference, bike.measure(changeDb)).significant ? 1 : 0;
    }
    return found;
}

/** A change in the third octave of a nominal frequency alone. */
std::function<double(double)> inOneBand(double nominalHz, double changeDb)
{
    return [=](double frequencyHz) {
        return std::abs(frequencyHz / nominalHz - 1.0) < 0.012 ? changeDb : 0.0;
    };
}

/** A bell of one octave's width at half its height in dB. */
std::function<double(double)> bell(double centreHz, double changeDb)
{
    return [=](double frequencyHz) {
        const double octaves = std::log2(frequencyHz / centreHz);
        return changeDb * std::exp2(-4.0 * octaves * octaves);
    };
}

} // namespace

TEST_CASE("A level difference alone is no difference of curves", "[core][measure]")
{
    const auto comparison = measure::compareResponses(withBands([](double) { return -20.0; }),
                                                      withBands([](double) { return -14.0; }));
    CHECK(comparison.levelDifferenceDb == Approx(6.0));
    CHECK(comparison.largestDifferenceDb == Approx(0.0).margin(1e-12));
    CHECK_FALSE(comparison.significant);
}

TEST_CASE("The largest difference is found with its frequency, against the uncertainty",
          "[core][measure]")
{
    const auto flat = withBands([](double) { return 0.0; });
    const auto boosted = withBands(
        [](double frequencyHz) { return std::abs(frequencyHz - 100.0) < 1.0 ? 5.0 : 0.0; });
    const auto comparison = measure::compareResponses(flat, boosted);
    CHECK(comparison.largestDifferenceDb == Approx(5.0));
    CHECK(comparison.largestAtHz == Approx(100.0));
    CHECK(comparison.significant);

    const auto vague = withBands(
        [](double frequencyHz) { return std::abs(frequencyHz - 100.0) < 1.0 ? 5.0 : 0.0; }, 2.0);
    CHECK_FALSE(measure::compareResponses(flat, vague).significant);

    auto unreliable = boosted;
    for (auto& band : unreliable.bands)
        band.trusted = std::abs(band.frequencyHz - 100.0) > 1.0;
    CHECK(measure::compareResponses(flat, unreliable).largestDifferenceDb
          == Approx(0.0).margin(1e-12));
}

TEST_CASE("Evenness counts from the mean of the range and leaves out bands that cannot be trusted",
          "[core][measure]")
{
    auto response = withBands([](double frequencyHz) { return frequencyHz < 130.0 ? 9.0 : 0.0; });
    // 80 to 160 Hz: the nominal bands 80, 100, 125 (+9) and 160 (0); mean 6.75.
    const auto low = measure::flatnessOf(response, 80.0, 160.0);
    CHECK(low.numBands == 4);
    CHECK(low.largestDb == Approx(-6.75));
    CHECK(low.largestAtHz == Approx(158.489).epsilon(1e-4));
    CHECK(low.rmsDb == Approx(std::sqrt((3 * 2.25 * 2.25 + 6.75 * 6.75) / 4.0)));
    for (auto& band : response.bands)
        band.trusted = false;
    CHECK(measure::flatnessOf(response, 80.0, 160.0).numBands == 0);
}

TEST_CASE("A bump has its height above the median and its width at half of it", "[core][measure]")
{
    // Half of 6 dB: three quarters of the way from 80 Hz (6) to 63 Hz (2), a quarter of the way
    // from 100 Hz (4) to 125 Hz (0). Bands stand 0.1 decades apart.
    const auto bump = measure::largestBump(
        withLevels({{63.0, 2.0}, {80.0, 6.0}, {100.0, 4.0}, {4000.0, -3.0}}), 20.0, 20000.0);
    REQUIRE(bump);
    CHECK(bump->heightDb == Approx(6.0));
    CHECK(bump->peakHz == Approx(std::pow(10.0, 1.9)));
    CHECK(bump->lowerHz == Approx(std::pow(10.0, 1.825)));
    CHECK(bump->upperHz == Approx(std::pow(10.0, 2.025)));
    CHECK(bump->centreHz == Approx(std::pow(10.0, 1.925)));
    CHECK(bump->widthOctaves == Approx(0.2 / std::log10(2.0)));
    CHECK(bump->uncertaintyDb == Approx(0.05));
    CHECK_FALSE(bump->isOpen);
}

TEST_CASE("A dip is a bump upside down", "[core][measure]")
{
    const auto response = withLevels({{63.0, 9.0}, {2500.0, -2.0}, {3150.0, -4.0}, {4000.0, -2.0}});
    const auto dip = measure::largestDip(response, 20.0, 20000.0);
    REQUIRE(dip);
    CHECK(dip->heightDb == Approx(-4.0));
    CHECK(dip->centreHz == Approx(std::pow(10.0, 3.5)));
    CHECK(dip->widthOctaves == Approx(0.2 / std::log10(2.0)));
    CHECK_FALSE(measure::largestDip(withLevels({{63.0, 9.0}}), 20.0, 20000.0));
}

TEST_CASE("A bump whose foot is not to be trusted is open", "[core][measure]")
{
    auto response = withLevels({{80.0, 6.0}, {5000.0, 4.0}});
    const auto whole = measure::largestBump(response, 500.0, 12000.0);
    REQUIRE(whole);
    CHECK_FALSE(whole->isOpen);
    CHECK(whole->peakHz == Approx(std::pow(10.0, 3.7)));
    distrust(response, 6300.0);
    const auto gap = measure::largestBump(response, 500.0, 12000.0);
    REQUIRE(gap);
    CHECK(gap->isOpen);
    CHECK(gap->lowerHz == Approx(std::pow(10.0, 3.65)));
    CHECK(gap->upperHz == Approx(std::pow(10.0, 3.7)));
    CHECK_FALSE(
        measure::largestBump(response, 500.0, 630.0)); // two bands have no median to speak of
}

TEST_CASE("A bump at the edge of the range is measured beyond it", "[core][measure]")
{
    // The highest band from 80 Hz on is 80 Hz with 5 dB; half of that lies midway between 50 Hz (0)
    // and 63 Hz (5), and midway between 80 Hz and 100 Hz (0).
    const auto bump = measure::largestBump(withLevels({{63.0, 5.0}, {80.0, 5.0}}), 80.0, 12000.0);
    REQUIRE(bump);
    CHECK_FALSE(bump->isOpen);
    CHECK(bump->peakHz == Approx(std::pow(10.0, 1.9)));
    CHECK(bump->lowerHz == Approx(std::pow(10.0, 1.75)));
    CHECK(bump->upperHz == Approx(std::pow(10.0, 1.95)));
}

TEST_CASE("The largest change has a place and a width", "[core][measure]")
{
    const auto comparison = measure::compareResponses(
        withLevels({}), withLevels({{63.0, -2.0}, {80.0, -4.0}, {100.0, -2.0}, {8000.0, 3.0}}));
    const auto change = measure::largestChange(comparison);
    REQUIRE(change);
    CHECK(change->heightDb == Approx(-4.0));
    CHECK(change->centreHz == Approx(std::pow(10.0, 1.9)));
    CHECK(change->widthOctaves == Approx(0.2 / std::log10(2.0)));
    CHECK_FALSE(measure::largestChange(measure::compareResponses(withLevels({}), withLevels({}))));
}

TEST_CASE("The sides of a bike are matched in level and in shape", "[core][measure]")
{
    // 80, 100, 125, 160 Hz differ by 2, 5, 2, 2 dB: mean 2.75.
    auto right = withLevels({{100.0, 5.0}, {80.0, 2.0}, {125.0, 2.0}, {160.0, 2.0}, {63.0, 20.0}});
    const auto match = measure::matchSides(withLevels({}), right, 80.0, 160.0);
    CHECK(match.numBands == 4);
    CHECK(match.levelDifferenceDb == Approx(2.75));
    CHECK(match.largestDb == Approx(2.25));
    CHECK(match.largestAtHz == Approx(100.0));
    CHECK(match.rmsDb == Approx(std::sqrt((3.0 * 0.75 * 0.75 + 2.25 * 2.25) / 4.0)));
    CHECK(match.polarity == measure::RelativePolarity::unknown); // no impulse
    distrust(right, 100.0);
    CHECK(measure::matchSides(withLevels({}), right, 80.0, 160.0).rmsDb
          == Approx(0.0).margin(1e-9));
    CHECK(measure::matchSides(withLevels({}), right, 100.0, 101.0).numBands == 0);
}

TEST_CASE("A side wired the wrong way round is found by its polarity", "[core][measure]")
{
    // Decaying resonance with an echo, as of a small speaker in a fairing.
    const auto side = [](double gain, double resonanceHz, std::size_t echoFrames) {
        auto response = withBands([](double) { return 0.0; });
        response.arrivalFrame = 4800;
        response.impulse.assign(48000, 0.0F);
        for (std::size_t frame = 0; frame < 4000; ++frame) {
            const double seconds = static_cast<double>(frame) / 48000.0;
            const double value = std::exp(-700.0 * seconds)
                                 * std::cos(2.0 * std::numbers::pi * resonanceHz * seconds);
            response.impulse[4800 + frame] += static_cast<float>(gain * value);
            response.impulse[4800 + echoFrames + frame] += static_cast<float>(0.4 * gain * value);
        }
        return response;
    };
    const auto left = side(1.0, 300.0, 150);
    CHECK(measure::matchSides(left, side(0.6, 330.0, 190), 80.0, 12000.0).polarity
          == measure::RelativePolarity::same);
    CHECK(measure::matchSides(left, side(-0.6, 330.0, 190), 80.0, 12000.0).polarity
          == measure::RelativePolarity::reversed);
    auto late = side(-0.6, 330.0, 190);
    late.arrivalFrame -= 48; // taken 1 ms early
    CHECK(measure::matchSides(left, late, 80.0, 12000.0).polarity
          == measure::RelativePolarity::reversed);

    auto noise = left;
    dsp::RandomSource random(5);
    for (float& sample : noise.impulse)
        sample = static_cast<float>(random.nextGaussian());
    CHECK(measure::matchSides(left, noise, 80.0, 12000.0).polarity
          == measure::RelativePolarity::unknown);
    auto otherRate = left;
    otherRate.sampleRate = 44100.0;
    CHECK(measure::matchSides(left, otherRate, 80.0, 12000.0).polarity
          == measure::RelativePolarity::unknown);
}

TEST_CASE("The evidence gives chances as statistical tables do", "[core][measure]")
{
    // Eleven trusted bands from 200 Hz to 2 kHz, five up, five down, one in the middle, so that
    // chi-square becomes 18.307: the 5 % point at ten degrees of freedom (any table of chi-square).
    const double variance = 2.0 * 0.05 * 0.05 + 0.25 * 0.25;
    const double step = std::sqrt(18.307 / 10.0 * variance);
    int index = 0;
    auto other = withBands([&](double frequencyHz) {
        if (frequencyHz < 195.0 || frequencyHz > 2005.0)
            return 0.0;
        ++index;
        return index == 11 ? 0.0 : index % 2 == 0 ? step : -step;
    });
    for (auto& band : other.bands)
        band.trusted = band.frequencyHz > 195.0 && band.frequencyHz < 2005.0;
    const auto evidence =
        measure::compareResponses(withBands([](double) { return 0.0; }), other).evidence;
    CHECK(evidence.numBands == 11);
    CHECK(evidence.degreesOfFreedom == 10);
    CHECK(evidence.chiSquare == Approx(18.307));
    CHECK(evidence.chanceOfAll == Approx(0.05).margin(1e-4));
    CHECK(evidence.rmsDb == Approx(step * std::sqrt(10.0 / 11.0)));
    CHECK(evidence.expectedRmsDb == Approx(std::sqrt(variance)));
    // sqrt(1.8307 / (1 - 1/11)) = 1.419 standard deviations: 15.6 % for one band by normal tables,
    // 1 - 0.844^11 for eleven.
    CHECK(std::abs(evidence.mostSigmas) == Approx(1.419).margin(1e-3));
    CHECK(evidence.chanceOfLargest == Approx(1.0 - std::pow(0.8441, 11.0)).margin(2e-3));
    // Up, down, up: an octave differs by a third of one step, by less than one band does.
    CHECK(std::abs(evidence.octaveSigmas) < 1.0);
    CHECK(evidence.chance == Approx(0.15).margin(3e-4));

    // The 0.1 % point at nine degrees of freedom is 27.877.
    for (auto& band : other.bands)
        band.levelDb *= std::sqrt(27.877 / 18.307);
    distrust(other, 2000.0); // the middle one, which has no part in the sum
    const auto odd =
        measure::compareResponses(withBands([](double) { return 0.0; }), other).evidence;
    CHECK(odd.degreesOfFreedom == 9);
    CHECK(odd.chanceOfAll == Approx(0.001).margin(1e-5));
}

TEST_CASE("Three bands in a row that differ alike weigh more than each of them", "[core][measure]")
{
    // 31 bands of equal variance, three of them up by d: the shared difference is 3d/31, the octave
    // stands 28d/31 off by a spread of sqrt(v (1/3 - 1/31)), each band by one of sqrt(v (1 - 1/31)).
    const double variance = 2.0 * 0.05 * 0.05 + 0.25 * 0.25;
    const auto evidence = measure::compareResponses(
                              withLevels({}), withLevels({{80.0, 0.9}, {100.0, 0.9}, {125.0, 0.9}}))
                              .evidence;
    const double deviation = 0.9 * 28.0 / 31.0;
    CHECK(evidence.mostSigmas == Approx(deviation / std::sqrt(variance * 30.0 / 31.0)));
    CHECK(evidence.octaveSigmas
          == Approx(deviation / std::sqrt(variance * (1.0 / 3.0 - 1.0 / 31.0))));
    CHECK(evidence.octaveAtHz == Approx(100.0));
    CHECK(evidence.chance == Approx(3.0 * evidence.chanceOfOctave));
}

TEST_CASE("Many bands with a difference too small for each alone make another curve",
          "[core][measure]")
{
    // A tilt of 1.05 dB at both ends; no band reaches 3.87 standard deviations of 0.33 dB.
    const auto tilted = withBands(
        [](double frequencyHz) { return 1.05 / 1.5 * std::log10(frequencyHz / 632.0); }, 0.15);
    const auto comparison =
        measure::compareResponses(withBands([](double) { return 0.0; }, 0.15), tilted);
    CHECK(std::abs(comparison.evidence.mostSigmas) < 3.87);
    CHECK(std::abs(comparison.largestDifferenceDb) < comparison.leastCountingDb);
    CHECK(comparison.significant);
}

TEST_CASE("A noisier second measurement of the same bike is no change", "[core][measure]")
{
    RepeatedMeasurement parked(40.0, 0.0, 21);
    RepeatedMeasurement running(11.0, 0.0, 22);
    int found = 0;
    for (int pair = 0; pair < numPairs; ++pair)
        found += measure::compareResponses(parked.measure(noChange), running.measure(noChange))
                         .significant
                     ? 1
                     : 0;
    CHECK(found <= 0.02 * numPairs);
}

TEST_CASE("Repeated measurements of one state are called a change at most twice in a hundred",
          "[core][measure]")
{
    for (const double snrDb : {12.0, 20.0, 35.0}) {
        RepeatedMeasurement noiseAlone(snrDb, 0.0, 11);
        CHECK(timesFound(noiseAlone, noChange) <= 0.02 * numPairs);
        // As much spread between the takes as the comparison allows for: 0.25 dB of a difference.
        RepeatedMeasurement moved(snrDb, 0.25 / std::numbers::sqrt2, 12);
        CHECK(timesFound(moved, noChange) <= 0.02 * numPairs);
    }
}

TEST_CASE("A change of 2 dB is found at 20 dB of signal-to-noise ratio", "[core][measure]")
{
    RepeatedMeasurement bike(20.0, 0.0, 13);
    for (const double hz : {80.0, 315.0, 2000.0, 8000.0}) {
        CAPTURE(hz);
        CHECK(timesFound(bike, inOneBand(hz, 2.0)) >= 0.95 * numPairs);
        CHECK(timesFound(bike, inOneBand(hz, -2.0)) >= 0.95 * numPairs);
    }
    // Lower bands hold few lines; there a change has to be as wide as a tone control makes it.
    for (const double hz : {40.0, 80.0, 1000.0})
        CHECK(timesFound(bike, bell(hz, 2.0)) >= 0.95 * numPairs);
}
