#include "Core/Dsp/WeightingFilter.h"

#include "Core/Dsp/Units.h"
#include "Support/AllocationCounter.h"
#include "Support/LockCounter.h"
#include "Support/ReferenceTable.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

using namespace saddletone;

namespace {

constexpr std::array<dsp::Weighting, 2> weightings {dsp::Weighting::a, dsp::Weighting::c};

struct Tolerance {
    double nominalHz;
    double aboveDb;
    double belowDb;
};

// Class 1 of IEC 61672-1:2013, from memory, not confirmed; 1e9: no lower limit. From 40 Hz to 4 kHz
// the general figure is 1.0 dB, 0.7 dB at 1 kHz.
constexpr std::array<Tolerance, 19> classOne {{{10, 3.0, 1e9},
                                               {12.5, 2.5, 1e9},
                                               {16, 2.0, 4.0},
                                               {20, 2.0, 2.0},
                                               {25, 2.0, 1.5},
                                               {31.5, 1.5, 1.5},
                                               {40, 1.0, 1.0},
                                               {100, 1.0, 1.0},
                                               {500, 1.0, 1.0},
                                               {1000, 0.7, 0.7},
                                               {2000, 1.0, 1.0},
                                               {4000, 1.0, 1.0},
                                               {5000, 1.5, 1.5},
                                               {6300, 1.5, 2.0},
                                               {8000, 1.5, 2.5},
                                               {10000, 2.0, 3.0},
                                               {12500, 2.0, 5.0},
                                               {16000, 2.5, 16.0},
                                               {20000, 3.0, 1e9}}};

double gainDb(const dsp::WeightingDesign& design, double frequencyHz, double sampleRate)
{
    return dsp::amplitudeToDb(std::abs(design.response(frequencyHz, sampleRate)));
}

std::vector<double> run(dsp::WeightingFilter& filter, std::vector<double> samples,
                        const std::vector<std::size_t>& lengths)
{
    std::size_t begin = 0;
    for (std::size_t turn = 0; begin < samples.size(); ++turn) {
        const std::size_t length = std::min(lengths[turn % lengths.size()], samples.size() - begin);
        double* pointer = samples.data() + begin;
        const double* source = pointer;
        filter.process({&source, 1, length}, {&pointer, 1, length});
        begin += length;
    }
    return samples;
}

std::vector<double> sine(double frequencyHz, double sampleRate, std::size_t numFrames)
{
    std::vector<double> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] = std::sin(2.0 * std::numbers::pi * frequencyHz * static_cast<double>(frame)
                                  / sampleRate);
    return samples;
}

} // namespace

TEST_CASE("Weighting filters keep class 1 and their own figure at every rate", "[core][dsp]")
{
    const test::ReferenceTable table("weighting_a_c.csv");
    struct Own {
        double sampleRate;
        double up16kHzDb; // largest difference from the formula, 10 Hz to 16 kHz
        double up20kHzDb;
    };
    for (const Own& own :
         {Own {44100.0, 0.14, 0.16}, Own {48000.0, 0.07, 0.08}, Own {88200.0, 0.004, 0.004},
          Own {96000.0, 0.004, 0.004}, Own {192000.0, 0.004, 0.004}})
        for (const auto weighting : weightings) {
            const auto design = dsp::designWeighting(weighting, own.sampleRate);
            const char* column = weighting == dsp::Weighting::a ? "A_table_db" : "C_table_db";
            double largest16 = 0.0;
            double largest20 = 0.0;
            for (std::size_t row = 0; row < table.numRows(); ++row) {
                const double frequencyHz = table.number(row, "exact_hz");
                const double difference =
                    gainDb(design, frequencyHz, own.sampleRate) - table.number(row, column);
                const double nominalHz = table.number(row, "nominal_hz");
                // Rows between those listed: the narrower general figure.
                const auto found = std::ranges::find(classOne, nominalHz, &Tolerance::nominalHz);
                CAPTURE(own.sampleRate, nominalHz, difference);
                CHECK(difference < (found != classOne.end() ? found->aboveDb : 1.0));
                CHECK(difference > -(found != classOne.end() ? found->belowDb : 1.0));
                const double error = std::abs(gainDb(design, frequencyHz, own.sampleRate)
                                              - dsp::weightingDb(weighting, frequencyHz));
                largest20 = std::max(largest20, error);
                if (nominalHz <= 16000.0)
                    largest16 = std::max(largest16, error);
            }
            CHECK(largest16 < own.up16kHzDb);
            CHECK(largest20 < own.up20kHzDb);
            CHECK(gainDb(design, 1000.0, own.sampleRate) == Approx(0.0).margin(1e-9));
        }
}

TEST_CASE("Z weighting changes nothing", "[core][dsp]")
{
    dsp::WeightingFilter filter;
    filter.setParameters({dsp::Weighting::z});
    filter.prepare({48000.0, 512, 1});
    const auto tone = sine(1234.0, 48000.0, 2000);
    CHECK(run(filter, tone, {512}) == tone);
}

TEST_CASE("The running weighting filter has its stated response", "[core][dsp]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0})
        for (const auto weighting : weightings) {
            dsp::WeightingFilter filter;
            filter.setParameters({weighting});
            filter.prepare({sampleRate, 512, 1});
            for (const double frequencyHz : {31.5, 100.0, 1000.0, 8000.0, 16000.0}) {
                filter.reset();
                const auto output = run(filter, sine(frequencyHz, sampleRate, 4 * 44100), {512});
                double sum = 0.0;
                double weights = 0.0;
                const std::size_t begin = output.size() / 2;
                for (std::size_t frame = begin; frame < output.size(); ++frame) {
                    const double weight =
                        1.0
                        - std::cos(2.0 * std::numbers::pi * static_cast<double>(frame - begin)
                                   / static_cast<double>(output.size() - begin));
                    sum += weight * output[frame] * output[frame];
                    weights += weight;
                }
                CAPTURE(sampleRate, frequencyHz);
                CHECK(dsp::rmsToDbfs(std::sqrt(sum / weights))
                      == Approx(gainDb(dsp::designWeighting(weighting, sampleRate), frequencyHz,
                                       sampleRate))
                             .margin(1e-4));
            }
        }
}

TEST_CASE("Cuts of the stream do not change weighted audio, and reset is as new", "[core][dsp]")
{
    dsp::WeightingFilter filter;
    filter.prepare({48000.0, 512, 1});
    auto tone = sine(777.0, 48000.0, 5000);
    const auto whole = run(filter, tone, {512});
    filter.reset();
    CHECK(run(filter, tone, {1, 0, 17, 512, 100}) == whole);
    filter.setParameters({dsp::Weighting::c});
    CHECK(run(filter, tone, {512}) != whole);
    filter.setParameters({dsp::Weighting::a});
    CHECK(run(filter, tone, {512}) == whole);
    filter.reset();
    CHECK(run(filter, std::vector<double>(1000, 0.0), {512}) == std::vector<double>(1000, 0.0));
}

TEST_CASE("A weighting filter neither allocates nor locks while it runs", "[core][dsp]")
{
    dsp::WeightingFilter filter;
    filter.prepare({48000.0, 512, 1});
    std::vector<double> samples(512, 1e6);
    double* pointer = samples.data();
    const double* source = pointer;
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    filter.process({&source, 1, 512}, {&pointer, 1, 512});
    filter.setParameters({dsp::Weighting::c});
    filter.process({&source, 1, 100}, {&pointer, 1, 100});
    filter.reset();
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
    CHECK(std::ranges::all_of(samples, [](double sample) { return std::isfinite(sample); }));
}
