#include "Core/Dsp/OctaveBands.h"

#include "Core/Dsp/RandomSource.h"
#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <limits>
#include <numbers>
#include <numeric>
#include <span>
#include <vector>

using namespace saddletone;

namespace {

std::vector<float> whiteNoise(std::size_t numFrames, std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    std::vector<float> samples(numFrames);
    for (float& sample : samples)
        sample = static_cast<float>(0.1 * random.nextGaussian());
    return samples;
}

std::vector<float> sine(double amplitude, double frequencyHz, double sampleRate,
                        std::size_t numFrames)
{
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] = static_cast<float>(amplitude
                                            * std::sin(2.0 * std::numbers::pi * frequencyHz
                                                       * static_cast<double>(frame) / sampleRate));
    return samples;
}

double sum(const std::vector<double>& values)
{
    return std::accumulate(values.begin(), values.end(), 0.0);
}

} // namespace

TEST_CASE("Twelfths of an octave reach both ends of an octave", "[core][dsp]")
{
    const std::vector<double> frequenciesHz = dsp::twelfthOctavesHz(440.0, 880.0);
    REQUIRE(frequenciesHz.size() == 13);
    CHECK(frequenciesHz.front() == 440.0);
    // The equally tempered E above A4, as tables of notes have it.
    CHECK(frequenciesHz[7] == Approx(659.2551).margin(1e-4));
    CHECK(frequenciesHz.back() == 880.0);
    CHECK(dsp::twelfthOctavesHz(440.0, 439.0).empty());
    CHECK(dsp::twelfthOctavesHz(440.0, 440.0).size() == 1);
}

TEST_CASE("Third octaves have the centres and edges of IEC 61260-1", "[core][dsp]")
{
    const test::ReferenceTable table("third_octave_bands.csv");
    const auto bands = dsp::thirdOctaveBands();
    REQUIRE(bands.size() == table.numRows());
    for (std::size_t row = 0; row < bands.size(); ++row) {
        // The table is written to six digits: half a unit in the sixth is at most 5e-6.
        CHECK(bands[row].centreHz == Approx(table.number(row, "exact_hz")).epsilon(5.1e-6));
        CHECK(bands[row].lowerHz == Approx(table.number(row, "lower_edge_hz")).epsilon(5.1e-6));
        CHECK(bands[row].upperHz == Approx(table.number(row, "upper_edge_hz")).epsilon(5.1e-6));
    }
}

TEST_CASE("Third octaves are labelled with the preferred frequencies of ISO 266", "[core][dsp]")
{
    const test::ReferenceTable table("third_octave_bands.csv");
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        CHECK(dsp::nominalLabel(table.number(row, "exact_hz")) == table.text(row, "nominal_hz"));
        CHECK(dsp::nominalLabel(table.number(row, "nominal_hz")) == table.text(row, "nominal_hz"));
    }
    CHECK(dsp::nominalLabel(12.5893) == "12.5");
    CHECK(dsp::nominalLabel(25118.9) == "25000");
}

TEST_CASE("Bands of every fraction join without gap and by the base-ten ratio", "[core][dsp]")
{
    for (const int perOctave : {1, 3, 6, 12, 24}) {
        CAPTURE(perOctave);
        const auto bands = dsp::octaveBands(perOctave, 20.0, 20000.0);
        // G = 10^(3/10), IEC 61260-1.
        const double ratio = std::pow(10.0, 0.3 / perOctave);
        REQUIRE(bands.size() > 8);
        for (std::size_t index = 0; index < bands.size(); ++index) {
            CHECK(bands[index].upperHz / bands[index].lowerHz == Approx(ratio).epsilon(1e-12));
            CHECK(bands[index].centreHz * bands[index].centreHz
                  == Approx(bands[index].upperHz * bands[index].lowerHz).epsilon(1e-12));
            if (index > 0)
                CHECK(bands[index].lowerHz == Approx(bands[index - 1].upperHz).epsilon(1e-12));
        }
        // Odd fractions have a centre at 1 kHz, even ones an edge.
        const auto nearest = [&](auto member) {
            double best = 1e9;
            for (const auto& band : bands)
                best = std::min(best, std::abs(band.*member - 1000.0));
            return best;
        };
        if (perOctave % 2 == 1)
            CHECK(nearest(&dsp::Band::centreHz) < 1e-9);
        else
            CHECK(nearest(&dsp::Band::lowerHz) < 1e-9);
    }
    CHECK(dsp::octaveBands(1, 31.5, 16000.0).size() == 10);
}

TEST_CASE("A flat spectrum gives each band power by its width", "[core][dsp]")
{
    const std::vector<double> flat(4097, 2.0);
    const double binHz = 5.0;
    const auto bands = dsp::thirdOctaveBands();
    const auto powers = dsp::bandPowers(flat, binHz, bands);
    for (std::size_t index = 0; index < bands.size(); ++index) {
        // The last bin ends half a bin above 20480 Hz, inside the 20 kHz band.
        const double upperHz = std::min(bands[index].upperHz, 4096.5 * binHz);
        CHECK(powers[index]
              == Approx(2.0 * (upperHz - bands[index].lowerHz) / binHz).epsilon(1e-9));
    }
}

TEST_CASE("Bands that join count every bin once", "[core][dsp]")
{
    dsp::RandomSource random(3);
    std::vector<double> spectrum(2049);
    for (double& bin : spectrum)
        bin = random.nextUniform();
    const auto bands = dsp::octaveBands(24, 30.0, 18000.0);
    const double binHz = 11.71875;
    const auto powers = dsp::bandPowers(spectrum, binHz, bands);
    CHECK(
        sum(powers)
        == Approx(test::powerBetween(spectrum, binHz, bands.front().lowerHz, bands.back().upperHz))
               .epsilon(1e-12));
}

TEST_CASE("Bands above the spectrum hold nothing", "[core][dsp]")
{
    // What stands behind the spectrum in memory is no part of it.
    std::vector<double> flat(101, 1.0);
    flat.push_back(std::numeric_limits<double>::quiet_NaN());
    const std::vector<dsp::Band> bands {{20000.0, 17783.0, 22387.0}};
    CHECK(dsp::bandPowers(std::span(flat).first(101), 10.0, bands).front() == 0.0);
}

TEST_CASE("The periodic spectrum shows a sine in its one bin with its mean square", "[core][dsp]")
{
    const auto samples = sine(0.5, 1000.0, 48000.0, 4800);
    const auto power = dsp::periodicPowerPerBin(samples);
    REQUIRE(power.size() == 2401);
    // A sine of amplitude a has a mean square of a^2/2. 32-bit samples leave 1e-8 of it unsure.
    CHECK(power[100] == Approx(0.125).epsilon(1e-6));
    CHECK(sum(power) - power[100] < 1e-12);
}

TEST_CASE("The periodic spectrum adds up to the mean square", "[core][dsp]")
{
    for (const std::size_t numFrames : {std::size_t {2}, std::size_t {10}, std::size_t {9600}}) {
        const auto samples = whiteNoise(numFrames, numFrames);
        CHECK(sum(dsp::periodicPowerPerBin(samples))
              == Approx(test::meanSquare(samples)).epsilon(1e-12));
    }
}

TEST_CASE("Welch's spectrum adds up to the mean square of a sine", "[core][dsp]")
{
    const auto samples = sine(0.5, 1234.5, 48000.0, 96000);
    const auto power = dsp::welchPowerPerBin(samples, 4096);
    REQUIRE(power.size() == 2049);
    // Segments weight the cycles unevenly; over 45 segments that averages to well below 0.1 %.
    CHECK(sum(power) == Approx(0.125).epsilon(1e-3));
    // A Hann window keeps the line within two bins of its place.
    const double binHz = 48000.0 / 4096.0;
    CHECK(test::powerBetween(power, binHz, 1234.5 - 3.0 * binHz, 1234.5 + 3.0 * binHz)
          == Approx(0.125).epsilon(2e-3));
}

TEST_CASE("Welch's spectrum of white noise is flat at its mean square", "[core][dsp]")
{
    const auto samples = whiteNoise(480000, 11);
    const auto power = dsp::welchPowerPerBin(samples, 1024);
    const double expected = test::meanSquare(samples);
    // 937 half-overlapping Hann segments give a bin a standard deviation of 3.8 % (Welch 1967:
    // 11/9 of the segments' 1/sqrt n); the sum, taken over 480000 samples, one of 0.2 %.
    CHECK(sum(power) == Approx(expected).epsilon(0.01));
    for (std::size_t bin = 2; bin + 2 < power.size(); ++bin)
        CHECK(power[bin] == Approx(expected / 512.0).epsilon(0.2));
}

TEST_CASE("A signal shorter than a segment is analysed in one shorter segment", "[core][dsp]")
{
    const auto samples = sine(0.5, 1000.0, 48000.0, 960);
    const auto power = dsp::welchPowerPerBin(samples, 4096);
    REQUIRE(power.size() == 481);
    CHECK(sum(power) == Approx(0.125).epsilon(1e-6));
}

TEST_CASE("The spectrum of silence is zero", "[core][dsp]")
{
    const std::vector<float> silence(2048);
    CHECK(sum(dsp::welchPowerPerBin(silence, 512)) == 0.0);
    CHECK(sum(dsp::periodicPowerPerBin(silence)) == 0.0);
}

TEST_CASE("The spectrum of segments adds up to the mean square, the last segment only part filled",
          "[core][dsp]")
{
    const auto samples = whiteNoise(25000, 3);
    double meanSquare = 0.0;
    for (const float sample : samples)
        meanSquare += static_cast<double>(sample) * static_cast<double>(sample) / 25000.0;
    for (const std::size_t segment : {2U, 1000U, 4096U, 30000U}) {
        CAPTURE(segment);
        const auto power = dsp::segmentedPowerPerBin(samples, segment);
        CHECK(power.size() == segment / 2 + 1);
        CHECK(sum(power) == Approx(meanSquare).epsilon(1e-6));
    }
    // One whole segment is the periodic spectrum, but for single precision.
    const auto whole = dsp::segmentedPowerPerBin(samples, 25000);
    const auto exact = dsp::periodicPowerPerBin(samples);
    for (std::size_t bin = 0; bin < exact.size(); ++bin)
        CHECK(whole[bin] == Approx(exact[bin]).margin(1e-6 * meanSquare));
}
