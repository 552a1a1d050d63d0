#include "Core/Dsp/Biquad.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/Units.h"
#include "Support/AllocationCounter.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

using namespace saddletone;

namespace {

constexpr std::array<double, 4> sampleRates {44100.0, 48000.0, 96000.0, 192000.0};
constexpr double butterworthQ = 1.0 / std::numbers::sqrt2;

double gainDb(const dsp::BiquadCoefficients& filter, double frequencyHz, double sampleRate)
{
    return dsp::amplitudeToDb(std::abs(filter.response(frequencyHz, sampleRate)));
}

std::complex<double> cascade(const std::vector<dsp::BiquadCoefficients>& sections,
                             double frequencyHz, double sampleRate)
{
    std::complex<double> response = 1.0;
    for (const auto& section : sections)
        response *= section.response(frequencyHz, sampleRate);
    return response;
}

enum class Side { low, high };

std::vector<dsp::BiquadCoefficients> butterworth(Side side, int order, double cutoffHz,
                                                 double sampleRate)
{
    std::vector<dsp::BiquadCoefficients> sections;
    for (const double q : dsp::butterworthQs(order))
        sections.push_back(side == Side::low ? dsp::designLowPass(cutoffHz, q, sampleRate)
                                             : dsp::designHighPass(cutoffHz, q, sampleRate));
    if (order % 2 == 1)
        sections.push_back(side == Side::low ? dsp::designFirstOrderLowPass(cutoffHz, sampleRate)
                                             : dsp::designFirstOrderHighPass(cutoffHz, sampleRate));
    return sections;
}

/** Largest difference between a filter's response and the transform of its run impulse. */
double responseError(const dsp::BiquadCoefficients& filter, double sampleRate)
{
    constexpr std::size_t size = 1U << 16U;
    dsp::RealFft<double> fft(size);
    std::vector<double> impulse(size, 0.0);
    impulse.front() = 1.0;
    dsp::filterInPlace(filter, impulse);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    double largest = 0.0;
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin)
        largest = std::max(
            largest,
            std::abs(fft.spectrum()[bin]
                     - filter.response(static_cast<double>(bin) * sampleRate / size, sampleRate)));
    return largest;
}

dsp::BiquadCoefficients designPeaking(double frequencyHz, double q, double peakDb,
                                      double sampleRate)
{
    return dsp::bilinearBiquad(dsp::analoguePeaking(frequencyHz, q, peakDb), sampleRate);
}

dsp::BiquadCoefficients designLowShelf(double frequencyHz, double q, double shelfDb,
                                       double sampleRate)
{
    return dsp::bilinearBiquad(dsp::analogueLowShelf(frequencyHz, q, shelfDb), sampleRate);
}

dsp::BiquadCoefficients designHighShelf(double frequencyHz, double q, double shelfDb,
                                        double sampleRate)
{
    return dsp::bilinearBiquad(dsp::analogueHighShelf(frequencyHz, q, shelfDb), sampleRate);
}

} // namespace

TEST_CASE("A shelf slope of 1 is a q of 0.7071 at any gain", "[core][dsp]")
{
    for (const double shelfDb : {-12.0, 0.0, 3.0, 24.0})
        CHECK(dsp::shelfSlopeToQ(1.0, shelfDb) == Approx(butterworthQ).epsilon(1e-12));
    CHECK(dsp::shelfSlopeToQ(0.5, 6.0) < butterworthQ);
}

TEST_CASE("A peaking filter has its gain at its frequency and none at the ends", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {30.0, 1000.0, 15000.0})
            for (const double q : {0.3, 1.0, 10.0})
                for (const double peakDb : {-24.0, -3.0, 0.0, 6.0, 18.0}) {
                    const auto filter = designPeaking(frequencyHz, q, peakDb, sampleRate);
                    CHECK(gainDb(filter, frequencyHz, sampleRate) == Approx(peakDb).margin(1e-6));
                    CHECK(gainDb(filter, 0.0, sampleRate) == Approx(0.0).margin(1e-6));
                    CHECK(gainDb(filter, 0.5 * sampleRate, sampleRate) == Approx(0.0).margin(1e-6));
                }
}

TEST_CASE("The q of a peaking filter is its centre over the width at half the gain", "[core][dsp]")
{
    // In the analogue limit: low against the sample rate.
    const double q = 4.0;
    const auto filter = designPeaking(200.0, q, 12.0, 192000.0);
    const double half = 0.5 / q;
    const double lowerHz = 200.0 * (std::sqrt(1.0 + half * half) - half);
    const double upperHz = 200.0 * (std::sqrt(1.0 + half * half) + half);
    CHECK(gainDb(filter, lowerHz, 192000.0) == Approx(6.0).margin(0.001));
    CHECK(gainDb(filter, upperHz, 192000.0) == Approx(6.0).margin(0.001));
}

TEST_CASE("Cut and boost of the same filter cancel", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {20.0, 300.0, 3000.0, 20000.0}) {
            const auto both = [&](auto design) {
                return std::abs(
                    design(1000.0, 2.0, 9.0, sampleRate).response(frequencyHz, sampleRate)
                        * design(1000.0, 2.0, -9.0, sampleRate).response(frequencyHz, sampleRate)
                    - 1.0);
            };
            CHECK(both(designPeaking) < 1e-9);
            CHECK(both(designLowShelf) < 1e-9);
            CHECK(both(designHighShelf) < 1e-9);
        }
}

TEST_CASE("A shelf has half its gain at its frequency and all of it at its end", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {60.0, 1000.0, 12000.0})
            for (const double shelfDb : {-15.0, -2.0, 4.0, 12.0}) {
                const auto low = designLowShelf(frequencyHz, butterworthQ, shelfDb, sampleRate);
                const auto high = designHighShelf(frequencyHz, butterworthQ, shelfDb, sampleRate);
                const double nyquistHz = 0.5 * sampleRate;
                CHECK(gainDb(low, frequencyHz, sampleRate) == Approx(0.5 * shelfDb).margin(1e-6));
                CHECK(gainDb(high, frequencyHz, sampleRate) == Approx(0.5 * shelfDb).margin(1e-6));
                CHECK(gainDb(low, 0.0, sampleRate) == Approx(shelfDb).margin(1e-5));
                CHECK(gainDb(low, nyquistHz, sampleRate) == Approx(0.0).margin(1e-5));
                CHECK(gainDb(high, 0.0, sampleRate) == Approx(0.0).margin(1e-5));
                CHECK(gainDb(high, nyquistHz, sampleRate) == Approx(shelfDb).margin(1e-5));
            }
}

TEST_CASE("A shelf with a q of 0.7071 rises without overshoot", "[core][dsp]")
{
    const auto shelf = designHighShelf(1000.0, butterworthQ, 12.0, 48000.0);
    double previous = -1e-9;
    for (double frequencyHz = 10.0; frequencyHz < 24000.0; frequencyHz *= 1.02) {
        const double level = gainDb(shelf, frequencyHz, 48000.0);
        CHECK(level >= previous - 1e-9);
        previous = level;
    }
}

TEST_CASE("Butterworth passes are 3.01 dB down at their cutoff", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (int order = 1; order <= 8; ++order)
            for (const double cutoffHz : {40.0, 2500.0, 18000.0})
                for (const Side side : {Side::low, Side::high}) {
                    const auto sections = butterworth(side, order, cutoffHz, sampleRate);
                    CHECK(dsp::amplitudeToDb(std::abs(cascade(sections, cutoffHz, sampleRate)))
                          == Approx(-3.0103).margin(1e-4));
                }
}

TEST_CASE("Butterworth passes have the maximally flat magnitude of their order", "[core][dsp]")
{
    // |H|^2 = 1 / (1 + w^2n), with w the ratio of frequencies as the bilinear transform bends them.
    for (const double sampleRate : sampleRates)
        for (int order = 1; order <= 8; ++order) {
            const double cutoffHz = 1000.0;
            const auto low = butterworth(Side::low, order, cutoffHz, sampleRate);
            const auto high = butterworth(Side::high, order, cutoffHz, sampleRate);
            for (double frequencyHz = 100.0; frequencyHz < 0.45 * sampleRate; frequencyHz *= 1.37) {
                const double ratio = std::tan(std::numbers::pi * frequencyHz / sampleRate)
                                     / std::tan(std::numbers::pi * cutoffHz / sampleRate);
                const double power = std::pow(ratio, 2.0 * order);
                CHECK(std::norm(cascade(low, frequencyHz, sampleRate))
                      == Approx(1.0 / (1.0 + power)).epsilon(1e-6));
                CHECK(std::norm(cascade(high, frequencyHz, sampleRate))
                      == Approx(power / (1.0 + power)).epsilon(1e-6));
            }
        }
}

TEST_CASE("Butterworth passes fall 6 dB an octave for each order", "[core][dsp]")
{
    // Far from cutoff and from Nyquist, where the bilinear transform bends nothing.
    for (int order = 1; order <= 8; ++order) {
        const auto low = butterworth(Side::low, order, 50.0, 192000.0);
        const double fallDb = dsp::amplitudeToDb(std::abs(cascade(low, 800.0, 192000.0)))
                              - dsp::amplitudeToDb(std::abs(cascade(low, 1600.0, 192000.0)));
        CHECK(fallDb == Approx(6.0206 * order).margin(0.03));
        const auto high = butterworth(Side::high, order, 4000.0, 192000.0);
        const double riseDb = dsp::amplitudeToDb(std::abs(cascade(high, 250.0, 192000.0)))
                              - dsp::amplitudeToDb(std::abs(cascade(high, 125.0, 192000.0)));
        CHECK(riseDb == Approx(6.0206 * order).margin(0.03));
    }
}

TEST_CASE("Butterworth sections have the tabled q", "[core][dsp]")
{
    // Standard filter tables: order 2 0.7071; order 3 1 and a real pole; order 4 0.5412, 1.3066.
    CHECK(dsp::butterworthQs(1).empty());
    REQUIRE(dsp::butterworthQs(2).size() == 1);
    CHECK(dsp::butterworthQs(2)[0] == Approx(0.70711).margin(1e-5));
    REQUIRE(dsp::butterworthQs(3).size() == 1);
    CHECK(dsp::butterworthQs(3)[0] == Approx(1.0).epsilon(1e-12));
    REQUIRE(dsp::butterworthQs(4).size() == 2);
    CHECK(dsp::butterworthQs(4)[0] == Approx(0.541196).margin(1e-6));
    CHECK(dsp::butterworthQs(4)[1] == Approx(1.306563).margin(1e-6));
}

TEST_CASE("A first-order pair adds up to the signal itself", "[core][dsp]")
{
    for (const double sampleRate : sampleRates) {
        const auto low = dsp::designFirstOrderLowPass(1200.0, sampleRate);
        const auto high = dsp::designFirstOrderHighPass(1200.0, sampleRate);
        for (double frequencyHz = 10.0; frequencyHz < 0.5 * sampleRate; frequencyHz *= 1.5) {
            const auto lowGain = low.response(frequencyHz, sampleRate);
            const auto highGain = high.response(frequencyHz, sampleRate);
            CHECK(std::abs(lowGain + highGain - 1.0) < 1e-12);
            // The two ways stand at right angles.
            CHECK(std::abs(std::arg(highGain / lowGain)) == Approx(0.5 * std::numbers::pi));
        }
    }
}

TEST_CASE("A running filter has the response of its coefficients", "[core][dsp]")
{
    for (const double sampleRate : sampleRates) {
        CHECK(responseError(designPeaking(1000.0, 5.0, 12.0, sampleRate), sampleRate) < 1e-9);
        CHECK(responseError(designLowShelf(150.0, 0.7, -9.0, sampleRate), sampleRate) < 1e-9);
        CHECK(responseError(designHighShelf(6000.0, 0.7, 9.0, sampleRate), sampleRate) < 1e-9);
        CHECK(responseError(dsp::designHighPass(100.0, 0.7, sampleRate), sampleRate) < 1e-9);
        CHECK(responseError(dsp::designLowPass(3000.0, 1.3, sampleRate), sampleRate) < 1e-9);
        CHECK(responseError(dsp::designFirstOrderHighPass(80.0, sampleRate), sampleRate) < 1e-9);
        CHECK(responseError(dsp::designFirstOrderLowPass(80.0, sampleRate), sampleRate) < 1e-9);
    }
}

TEST_CASE("Frequencies beyond Nyquist still give a stable filter", "[core][dsp]")
{
    for (const double frequencyHz : {24000.0, 30000.0, 1e6}) {
        for (const auto& filter : {designPeaking(frequencyHz, 0.1, 40.0, 44100.0),
                                   designHighShelf(frequencyHz, 30.0, -40.0, 44100.0),
                                   designLowShelf(frequencyHz, 0.7, 40.0, 44100.0),
                                   dsp::designLowPass(frequencyHz, 0.7, 44100.0),
                                   dsp::designHighPass(frequencyHz, 0.7, 44100.0),
                                   dsp::designFirstOrderLowPass(frequencyHz, 44100.0)}) {
            // Jury's conditions for poles within the unit circle.
            CHECK(std::abs(filter.a2) < 1.0);
            CHECK(std::abs(filter.a1) < 1.0 + filter.a2);
            std::vector<double> samples(4000, 1.0);
            dsp::filterInPlace(filter, samples);
            CHECK(std::isfinite(samples.back()));
        }
    }
}

TEST_CASE("Filtering silence gives silence and takes no memory", "[core][dsp]")
{
    std::vector<double> samples(512, 0.0);
    const auto filter = designPeaking(50.0, 30.0, 40.0, 48000.0);
    const test::AllocationCounter counter;
    dsp::filterInPlace(filter, samples);
    CHECK(counter.numHeapCalls() == 0);
    CHECK(samples == std::vector<double>(512, 0.0));
    dsp::filterInPlace(filter, {});
}

TEST_CASE("The default coefficients pass a signal unchanged", "[core][dsp]")
{
    std::vector<double> samples {1.0, -0.5, 0.25};
    dsp::filterInPlace({}, samples);
    CHECK(samples == std::vector<double> {1.0, -0.5, 0.25});
    CHECK(dsp::BiquadCoefficients {}.response(123.0, 48000.0) == std::complex<double> {1.0, 0.0});
}
