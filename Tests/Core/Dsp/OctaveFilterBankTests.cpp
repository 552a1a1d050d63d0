#include "Core/Dsp/OctaveFilterBank.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Support/AllocationCounter.h"
#include "Support/LockCounter.h"
#include "Support/ReferenceTable.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

using namespace saddletone;

namespace {

constexpr std::array<double, 5> sampleRates {44100.0, 48000.0, 88200.0, 96000.0, 192000.0};
constexpr std::array<int, 4> fractions {3, 6, 12, 24};

/** The class 1 limits of both editions at once: IEC 1260:1995 as found in public code, and
    IEC 61260-1:2014, from memory; the tighter figure in every row. */
class ClassOneMask {
public:
    ClassOneMask()
    {
        const test::ReferenceTable table("filter_mask_class1.csv");
        for (std::size_t row = 0; row < table.numRows(); ++row)
            points.push_back(
                {table.number(row, "octave_exponent"),
                 std::max(table.number(row, "min_att_1995"), table.number(row, "min_att_2014")),
                 std::min(limit(table, row, "max_att_1995"), limit(table, row, "max_att_2014"))});
    }

    /** How far inside its limits an attenuation in dB lies, at a frequency in centres of a filter;
        limits between the points run straight over the logarithm of frequency. */
    [[nodiscard]] double marginDb(double ratio, int bandsPerOctave, double attenuationDb) const
    {
        const double place = std::log(std::max(ratio, 1.0 / ratio));
        double margin = 1e9;
        for (std::size_t index = 0; index + 1 < points.size(); ++index) {
            const double from = std::log(ratioOf(points[index].exponent, bandsPerOctave));
            const double to = std::log(ratioOf(points[index + 1].exponent, bandsPerOctave));
            // At a step both sides' limits hold within the rounding of the edge itself.
            if (place < from - 1e-9 || place > to + 1e-9 || to - from < 1e-12)
                continue;
            if (std::abs(place - from) < 1e-9 && points[index].exponent == 0.5)
                continue;
            const double share = std::clamp((place - from) / (to - from), 0.0, 1.0);
            const Point& left = points[index];
            const Point& right = points[index + 1];
            const double least = left.least + share * (right.least - left.least);
            margin = std::min(margin, attenuationDb - least);
            if (left.most < 1e6 && right.most < 1e6)
                margin =
                    std::min(margin, left.most + share * (right.most - left.most) - attenuationDb);
        }
        if (place > std::log(ratioOf(points.back().exponent, bandsPerOctave)))
            margin = std::min(margin, attenuationDb - points.back().least);
        return margin;
    }

    /** Frequencies of the table's rows in centres of a filter, above it. */
    [[nodiscard]] std::vector<double> ratios(int bandsPerOctave) const
    {
        std::vector<double> result;
        for (const Point& point : points)
            result.push_back(ratioOf(point.exponent, bandsPerOctave));
        return result;
    }

private:
    struct Point {
        double exponent;
        double least;
        double most;
    };

    static double limit(const test::ReferenceTable& table, std::size_t row, const char* column)
    {
        return table.text(row, column) == "inf" ? 1e9 : table.number(row, column);
    }

    /** IEC 61260-1: breakpoints of the octave filter brought to 1/b octave. */
    static double ratioOf(double exponent, int bandsPerOctave)
    {
        const double g = std::pow(10.0, 0.3);
        return 1.0
               + (std::pow(g, 0.5 / bandsPerOctave) - 1.0) / (std::sqrt(g) - 1.0)
                     * (std::pow(g, exponent) - 1.0);
    }

    std::vector<Point> points;
};

/** A filter's gain for a sine, worked out apart from the core: through every halving, folded. */
double gainOf(const dsp::OctaveFilter& filter, double frequencyHz, double sampleRate)
{
    double gain = 1.0;
    double rate = sampleRate;
    double frequency = frequencyHz;
    for (std::size_t halving = 0; halving < filter.halvings; ++halving) {
        std::complex<double> sum = 0.0;
        double angle = 0.0;
        for (const double tap : dsp::halvingTaps()) {
            sum += std::polar(tap, angle);
            angle -= 2.0 * std::numbers::pi * frequency / rate;
        }
        gain *= std::abs(sum);
        rate /= 2.0;
        frequency = std::abs(frequency - rate * std::round(frequency / rate));
    }
    const std::complex<double> z1 = std::polar(1.0, -2.0 * std::numbers::pi * frequency / rate);
    for (const auto& c : filter.sections)
        gain *= std::abs((c.b0 + z1 * (c.b1 + z1 * c.b2)) / (1.0 + z1 * (c.a1 + z1 * c.a2)));
    return gain;
}

double attenuationDb(const dsp::OctaveFilter& filter, double frequencyHz, double sampleRate)
{
    return dsp::amplitudeToDb(gainOf(filter, filter.band.centreHz, sampleRate))
           - dsp::amplitudeToDb(gainOf(filter, frequencyHz, sampleRate));
}

/** Feeds one channel in blocks of uneven lengths; all outputs, band by band. */
std::vector<std::vector<double>> run(dsp::OctaveFilterBank& bank, const std::vector<double>& input,
                                     const std::vector<std::size_t>& lengths)
{
    std::vector<std::vector<double>> outputs(bank.filters().size());
    std::size_t begin = 0;
    for (std::size_t turn = 0; begin < input.size(); ++turn) {
        const std::size_t length = std::min(lengths[turn % lengths.size()], input.size() - begin);
        const double* pointer = input.data() + begin;
        bank.process({&pointer, 1, length});
        for (std::size_t band = 0; band < outputs.size(); ++band) {
            const auto output = bank.output(0, band);
            outputs[band].insert(outputs[band].end(), output.begin(), output.end());
        }
        begin += length;
    }
    return outputs;
}

std::vector<double> noise(std::size_t numFrames)
{
    dsp::RandomSource random(7);
    std::vector<double> samples(numFrames);
    for (double& sample : samples)
        sample = random.nextUniform() - 0.5;
    return samples;
}

/** RMS of a steady part, weighted by a Hann window so that whole periods do not matter. */
double steadyRms(const std::vector<double>& samples, std::size_t from)
{
    double sum = 0.0;
    double weights = 0.0;
    for (std::size_t index = from; index < samples.size(); ++index) {
        const double phase = 2.0 * std::numbers::pi * static_cast<double>(index - from)
                             / static_cast<double>(samples.size() - from);
        const double weight = 1.0 - std::cos(phase);
        sum += weight * samples[index] * samples[index];
        weights += weight;
    }
    return std::sqrt(sum / weights);
}

} // namespace

TEST_CASE("Every fractional-octave filter meets class 1 at every rate", "[core][dsp]")
{
    const ClassOneMask mask;
    for (const double sampleRate : sampleRates)
        for (const int bandsPerOctave : fractions) {
            double least = 1e9;
            double leastAtHz = 0.0;
            double largestCentreDb = 0.0;
            const auto filters =
                dsp::designOctaveFilters(bandsPerOctave, 20.0, 20000.0, sampleRate);
            for (const auto& filter : filters) {
                const double centreHz = filter.band.centreHz;
                largestCentreDb =
                    std::max(largestCentreDb,
                             std::abs(dsp::amplitudeToDb(gainOf(filter, centreHz, sampleRate))));
                auto ratios = mask.ratios(bandsPerOctave);
                // Between the rows as well: 24 points an octave of the mask's own stretching.
                for (int step = 1; step < 192; ++step) {
                    const double g = std::pow(10.0, 0.3 * step / 48.0);
                    ratios.push_back(1.0
                                     + (std::pow(10.0, 0.15 / bandsPerOctave) - 1.0)
                                           / (std::pow(10.0, 0.15) - 1.0) * (g - 1.0));
                }
                ratios.push_back(sampleRate); // far off: only half the rate and 1 Hz remain
                for (const double ratio : ratios)
                    for (const double frequencyHz : {centreHz * ratio, centreHz / ratio}) {
                        const double inside = std::clamp(frequencyHz, 0.5, 0.4999 * sampleRate);
                        const double margin =
                            mask.marginDb(inside / centreHz, bandsPerOctave,
                                          attenuationDb(filter, inside, sampleRate));
                        if (margin < least) {
                            least = margin;
                            leastAtHz = inside;
                        }
                    }
            }
            CAPTURE(sampleRate, bandsPerOctave, leastAtHz);
            // The standard's own bar, and our last figure: the least room is where the mask
            // crosses its own corner at the centre, 0.3 dB to either side.
            CHECK(least >= 0.0);
            CHECK(least == Approx(0.3).margin(0.002));
            CHECK(largestCentreDb < 0.001);
        }
}

TEST_CASE("There are filters up to 20 kHz at every rate", "[core][dsp]")
{
    for (const double sampleRate : sampleRates) {
        const auto filters = dsp::designOctaveFilters(3, 20.0, 20000.0, sampleRate);
        REQUIRE(filters.size() == 31);
        CHECK(filters.back().band.centreHz == Approx(19952.62).margin(0.01));
    }
    CHECK(dsp::designOctaveFilters(3, 20.0, 20000.0, 32000.0).back().band.centreHz < 16000.0);
}

TEST_CASE("A filter's stated magnitude is that of its sections and halvings", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const auto& filter : dsp::designOctaveFilters(6, 20.0, 20000.0, sampleRate))
            for (const double ratio : {0.2, 0.9, 1.0, 1.05, 3.0, 20.0}) {
                const double frequencyHz =
                    std::min(filter.band.centreHz * ratio, 0.499 * sampleRate);
                CHECK(filter.magnitude(frequencyHz, sampleRate)
                      == Approx(gainOf(filter, frequencyHz, sampleRate)).margin(1e-12));
            }
}

TEST_CASE("Pink noise passes every filter with the power of its nominal width", "[core][dsp]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0})
        for (const int bandsPerOctave : fractions)
            for (const auto& filter :
                 dsp::designOctaveFilters(bandsPerOctave, 20.0, 20000.0, sampleRate)) {
                const auto& band = filter.band;
                const double reach = 6.0 * std::log(band.upperHz / band.lowerHz);
                const double bottom = std::log(band.centreHz) - reach;
                const double top =
                    std::min(std::log(band.centreHz) + reach, std::log(0.5 * sampleRate));
                constexpr int numPoints = 1500;
                double power = 0.0;
                for (int point = 0; point < numPoints; ++point) {
                    const double gain = filter.magnitude(
                        std::exp(bottom + (point + 0.5) * (top - bottom) / numPoints), sampleRate);
                    power += gain * gain * (top - bottom) / numPoints;
                }
                const double nominal = std::log(band.upperHz / band.lowerHz);
                // 20 kHz at 44.1 kHz: 17.78 kHz to 22.05 kHz are there of 17.78 kHz to 22.39 kHz.
                const double missingDb =
                    band.upperHz > 0.5 * sampleRate
                        ? dsp::powerToDb(std::log(0.5 * sampleRate / band.lowerHz) / nominal)
                        : 0.0;
                CAPTURE(sampleRate, bandsPerOctave, band.centreHz);
                CHECK(dsp::powerToDb(power / nominal) == Approx(missingDb).margin(0.003));
                CHECK(missingDb > -0.30);
            }
}

TEST_CASE("The running bank attenuates sines as its filters say", "[core][dsp]")
{
    const ClassOneMask mask;
    struct Point {
        double sampleRate;
        int bandsPerOctave;
        double centreHz;
    };
    for (const Point& point :
         {Point {44100.0, 3, 19952.623}, Point {44100.0, 3, 251.189}, Point {48000.0, 3, 19952.623},
          Point {48000.0, 3, 31.6228}, Point {48000.0, 3, 5011.872}, Point {96000.0, 3, 1000.0},
          Point {48000.0, 24, 1014.497}, Point {96000.0, 6, 118.85}}) {
        dsp::OctaveFilterBank bank;
        bank.prepare({point.sampleRate, 4096, 1}, point.bandsPerOctave, 20.0, 20000.0);
        const auto found = std::ranges::find_if(bank.filters(), [&](const auto& filter) {
            return std::abs(filter.band.centreHz / point.centreHz - 1.0) < 1e-3;
        });
        REQUIRE(found != bank.filters().end());
        const auto band = static_cast<std::size_t>(found - bank.filters().begin());
        const double widthHz = found->band.upperHz - found->band.lowerHz;
        for (const double ratio : mask.ratios(point.bandsPerOctave))
            for (const double frequencyHz : {point.centreHz * ratio, point.centreHz / ratio}) {
                if (frequencyHz > 0.49 * point.sampleRate)
                    continue;
                // Settling to -100 dB takes ten reciprocals of the width.
                const double settleSeconds = 12.0 / widthHz + 0.02;
                const double seconds = settleSeconds + std::max(0.3, 30.0 / frequencyHz);
                std::vector<double> sine(static_cast<std::size_t>(seconds * point.sampleRate));
                for (std::size_t frame = 0; frame < sine.size(); ++frame)
                    sine[frame] = std::sin(2.0 * std::numbers::pi * frequencyHz
                                           * static_cast<double>(frame) / point.sampleRate);
                const auto output = run(bank, sine, {4096})[band];
                bank.reset();
                const auto settled =
                    static_cast<std::size_t>(settleSeconds * found->rate(point.sampleRate));
                const double levelDb = dsp::rmsToDbfs(steadyRms(output, settled));
                const double expectedDb =
                    dsp::amplitudeToDb(gainOf(*found, frequencyHz, point.sampleRate));
                CAPTURE(point.sampleRate, point.centreHz, frequencyHz, levelDb);
                // What is left of the sine's start is some 100 dB down.
                CHECK(levelDb
                      == Approx(expectedDb).margin(0.02 + dsp::dbToAmplitude(-95.0 - expectedDb)));
                CHECK(mask.marginDb(frequencyHz / point.centreHz, point.bandsPerOctave, -levelDb)
                      > 0.0);
            }
    }
}

TEST_CASE("Cuts of the stream do not change what the bank gives", "[core][dsp]")
{
    dsp::OctaveFilterBank bank;
    bank.prepare({48000.0, 1024, 1}, 12, 20.0, 20000.0);
    const auto input = noise(20000);
    const auto whole = run(bank, input, {1024});
    bank.reset();
    CHECK(run(bank, input, {1, 0, 7, 64, 333, 1024, 2, 511}) == whole);
}

TEST_CASE("A bank after reset is as new, and silence stays silent", "[core][dsp]")
{
    dsp::OctaveFilterBank bank;
    bank.prepare({44100.0, 512, 1}, 3, 20.0, 20000.0);
    for (const auto& output : run(bank, std::vector<double>(3000, 0.0), {512}))
        CHECK(std::ranges::all_of(output, [](double sample) { return sample == 0.0; }));
    bank.reset();
    const auto input = noise(5001);
    const auto fresh = run(bank, input, {512});
    bank.reset();
    CHECK(run(bank, input, {512}) == fresh);
}

TEST_CASE("The bank stays finite at the loudest square wave", "[core][dsp]")
{
    dsp::OctaveFilterBank bank;
    bank.prepare({48000.0, 512, 1}, 24, 20.0, 20000.0);
    std::vector<double> square(48000);
    for (std::size_t frame = 0; frame < square.size(); ++frame)
        square[frame] = frame / 480 % 2 == 0 ? 1e6 : -1e6;
    for (const auto& output : run(bank, square, {512}))
        CHECK(std::ranges::all_of(output, [](double sample) { return std::abs(sample) < 1e8; }));
}

TEST_CASE("The bank neither allocates nor locks while it runs", "[core][dsp]")
{
    dsp::OctaveFilterBank bank;
    bank.prepare({48000.0, 512, 2}, 24, 20.0, 20000.0);
    const auto input = noise(512);
    const std::array<const double*, 2> pointers {input.data(), input.data()};
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    for (std::size_t length : {512U, 0U, 1U, 511U})
        bank.process({pointers.data(), 2, length});
    const auto output = bank.output(1, 0);
    bank.reset();
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
    CHECK(output.size() <= 1);
}

TEST_CASE("The halving filter is the windowed half-band it says it is", "[core][dsp]")
{
    // J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function", 1974.
    const auto taps = dsp::halvingTaps();
    REQUIRE(taps.size() == 31);
    const auto bessel = [](double x) {
        double sum = 1.0;
        double term = 1.0;
        for (int index = 1; index < 60; ++index)
            sum += term *= x * x / (4.0 * index * index);
        return sum;
    };
    const double beta = 0.1102 * (100.0 - 8.7);
    std::vector<double> expected;
    double sum = 0.0;
    for (int offset = -15; offset <= 15; ++offset) {
        const double x = 0.5 * std::numbers::pi * offset;
        const double sinc = offset == 0 ? 1.0 : offset % 2 == 0 ? 0.0 : std::sin(x) / x;
        expected.push_back(0.5 * sinc * bessel(beta * std::sqrt(1.0 - offset * offset / 256.0)));
        sum += expected.back();
    }
    for (std::size_t tap = 0; tap < taps.size(); ++tap)
        CHECK(taps[tap] == Approx(expected[tap] / sum).margin(1e-15));
    for (const double frequency : {0.375, 0.4, 0.43, 0.46, 0.5}) {
        std::complex<double> gain = 0.0;
        for (std::size_t tap = 0; tap < taps.size(); ++tap)
            gain += std::polar(taps[tap],
                               -2.0 * std::numbers::pi * frequency * static_cast<double>(tap));
        CHECK(dsp::amplitudeToDb(std::abs(gain)) < -99.0);
    }
}
