#include "Core/Dsp/MatchedBiquad.h"

#include "Core/Dsp/Units.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

using namespace saddletone;
using dsp::AnalogueSection;
using dsp::BiquadCoefficients;
using dsp::PassBand;

namespace {

using Complex = std::complex<double>;

constexpr std::array<double, 4> sampleRates {44100.0, 48000.0, 96000.0, 192000.0};
constexpr std::array<double, 12> gridHz {20.0,   60.0,   200.0,   700.0,   2000.0,  4000.0,
                                         6000.0, 8000.0, 10000.0, 12000.0, 14000.0, 16000.0};
constexpr std::array<double, 5> gridQ {0.3, 0.7071, 1.5, 3.0, 8.0};
constexpr std::array<double, 6> gridGainDb {-12.0, -6.0, -1.0, 2.0, 6.0, 12.0};

std::vector<BiquadCoefficients> matched(const std::vector<AnalogueSection>& prototype,
                                        double sampleRate)
{
    std::vector<BiquadCoefficients> sections;
    for (const AnalogueSection& section : prototype)
        for (const BiquadCoefficients& biquad : dsp::matchedBiquads(section, sampleRate))
            sections.push_back(biquad);
    return sections;
}

template <typename Response>
Complex product(const auto& sections, Response&& response)
{
    Complex whole = 1.0;
    for (const auto& section : sections)
        whole *= response(section);
    return whole;
}

/** Largest deviation of the level up to 20 kHz where the prototype stands above -30 dB, on a
    frequency grid of 1 % that is not the one of the fit. */
double largestErrorDb(const std::vector<AnalogueSection>& prototype, double sampleRate = 44100.0)
{
    const auto sections = matched(prototype, sampleRate);
    double largest = 0.0;
    for (double frequencyHz = 10.0; frequencyHz <= 20000.0; frequencyHz *= 1.01) {
        const double meantDb = dsp::amplitudeToDb(std::abs(
            product(prototype, [&](const AnalogueSection& s) { return s.response(frequencyHz); })));
        if (meantDb <= -30.0)
            continue;
        const double heardDb =
            dsp::amplitudeToDb(std::abs(product(sections, [&](const BiquadCoefficients& s) {
                return s.response(frequencyHz, sampleRate);
            })));
        largest = std::max(largest, std::abs(heardDb - meantDb));
    }
    return largest;
}

/** Poles within the unit circle and zeros not outside of it, by Jury's conditions. */
void checkMinimumPhase(const std::vector<BiquadCoefficients>& sections)
{
    constexpr double rounding = 1e-9;
    for (const BiquadCoefficients& section : sections) {
        CHECK(std::abs(section.a2) < 1.0);
        CHECK(std::abs(section.a1) < 1.0 + section.a2);
        CHECK(std::abs(section.b2) <= std::abs(section.b0) * (1.0 + rounding));
        CHECK(std::abs(section.b1)
              <= std::abs(section.b0 + section.b2) + std::abs(section.b0) * rounding);
    }
}

/** Every single section of the grid within the stated error: one of gains by one of q. */
template <typename Make>
double worstOfGrid(Make&& make)
{
    double worst = 0.0;
    for (const double frequencyHz : gridHz)
        for (const double q : gridQ)
            for (const double gainDb : gridGainDb) {
                const AnalogueSection prototype = make(frequencyHz, q, gainDb);
                checkMinimumPhase(dsp::matchedBiquads(prototype, 44100.0));
                const double errorDb = largestErrorDb({prototype});
                CAPTURE(frequencyHz, q, gainDb, errorDb);
                CHECK(errorDb < 0.11);
                worst = std::max(worst, errorDb);
            }
    return worst;
}

} // namespace

// The bars: 0.3 dB is what is asked of a design up to 20 kHz at 44.1 kHz; 0.11 dB for one section
// and 0.25 dB for a cascade is what the header states. The prototypes are held against SciPy's
// freqs by Tests/Scipy/tuning_against_scipy.py.

TEST_CASE("Matched peaking filters stay with the prototype up to 20 kHz", "[core][dsp]")
{
    CHECK(worstOfGrid(dsp::analoguePeaking) > 0.0);
}

TEST_CASE("Matched shelves stay with the prototype up to 20 kHz", "[core][dsp]")
{
    worstOfGrid(dsp::analogueLowShelf);
    worstOfGrid(dsp::analogueHighShelf);
}

TEST_CASE("Matched passes stay with the prototype up to 20 kHz", "[core][dsp]")
{
    for (const double frequencyHz : gridHz)
        for (const auto band : {PassBand::belowFrequency, PassBand::aboveFrequency}) {
            for (int order = 1; order <= 8; ++order)
                for (const auto& prototype : {dsp::analogueButterworth(band, order, frequencyHz),
                                              dsp::analogueBessel(band, order, frequencyHz)}) {
                    CAPTURE(frequencyHz, order, band == PassBand::belowFrequency);
                    checkMinimumPhase(matched(prototype, 44100.0));
                    CHECK(largestErrorDb(prototype) < 0.25);
                }
            for (const int order : {2, 4, 8}) {
                const auto prototype = dsp::analogueLinkwitzRiley(band, order, frequencyHz);
                CAPTURE(frequencyHz, order, band == PassBand::belowFrequency);
                CHECK(largestErrorDb(prototype) < 0.25);
            }
        }
}

TEST_CASE("Matched notches stay with the prototype and keep their zeros", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : gridHz)
            for (const double q : gridQ) {
                const auto prototype = dsp::analogueNotch(frequencyHz, q);
                const auto sections = dsp::matchedBiquads(prototype, sampleRate);
                CAPTURE(sampleRate, frequencyHz, q);
                checkMinimumPhase(sections);
                CHECK(largestErrorDb({prototype}, sampleRate) < 0.11);
                // At 192 kHz and 20 Hz the coefficients' rounding leaves -110 dB.
                CHECK(std::abs(product(sections,
                                       [&](const BiquadCoefficients& s) {
                                           return s.response(frequencyHz, sampleRate);
                                       }))
                      < 3e-6);
            }
}

TEST_CASE("Matched filters are as close at the other sample rates", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {40.0, 1000.0, 9000.0, 16000.0}) {
            CAPTURE(sampleRate, frequencyHz);
            CHECK(largestErrorDb({dsp::analoguePeaking(frequencyHz, 1.0, 12.0)}, sampleRate)
                  < 0.11);
            CHECK(largestErrorDb({dsp::analogueHighShelf(frequencyHz, 0.7, -12.0)}, sampleRate)
                  < 0.11);
            CHECK(largestErrorDb(dsp::analogueButterworth(PassBand::aboveFrequency, 8, frequencyHz),
                                 sampleRate)
                  < 0.25);
        }
}

TEST_CASE("The bilinear transform would be further off", "[core][dsp]")
{
    // What the matched design is for: the same peak, squeezed by the bilinear transform.
    const auto prototype = dsp::analoguePeaking(14000.0, 1.0, 12.0);
    const auto squeezed = dsp::bilinearBiquad(prototype, 44100.0);
    const double meantDb = dsp::amplitudeToDb(std::abs(prototype.response(20000.0)));
    CHECK(std::abs(dsp::amplitudeToDb(std::abs(squeezed.response(20000.0, 44100.0))) - meantDb)
          > 3.0);
    CHECK(largestErrorDb({prototype}) < 0.11);
}

TEST_CASE("Filters of a few kilohertz need one section", "[core][dsp]")
{
    for (const double frequencyHz : {30.0, 300.0, 2000.0})
        for (const double q : {0.7, 2.0, 8.0}) {
            CHECK(dsp::matchedBiquads(dsp::analoguePeaking(frequencyHz, q, 6.0), 44100.0).size()
                  == 1);
            CHECK(dsp::matchedBiquads(dsp::analogueLowShelf(frequencyHz, q, -6.0), 44100.0).size()
                  == 1);
        }
    // What does nothing is one section that does nothing.
    const auto flat = dsp::matchedBiquads(dsp::analoguePeaking(1000.0, 1.0, 0.0), 44100.0);
    CHECK(flat == std::vector<BiquadCoefficients> {{}});
}

TEST_CASE("Matched high-passes let no direct current through", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : gridHz) {
            for (const auto& section :
                 dsp::analogueButterworth(PassBand::aboveFrequency, 3, frequencyHz)) {
                const auto sections = dsp::matchedBiquads(section, sampleRate);
                CHECK(std::abs(product(
                          sections,
                          [&](const BiquadCoefficients& s) { return s.response(0.0, sampleRate); }))
                      < 1e-9);
            }
        }
}

TEST_CASE("Matched all-passes leave the level and keep the phase", "[core][dsp]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {50.0, 300.0, 1000.0, 3000.0})
            for (const double q : {0.5, 1.0, 4.0, 0.0}) {
                const auto prototype = q > 0.0 ? dsp::analogueAllPass(frequencyHz, q)
                                               : dsp::analogueFirstOrderAllPass(frequencyHz);
                const auto sections = dsp::matchedBiquads(prototype, sampleRate);
                CAPTURE(sampleRate, frequencyHz, q);
                REQUIRE(sections.size() == 1);
                for (double atHz = 20.0; atHz < 5000.0; atHz *= 1.07) {
                    const Complex heard = sections[0].response(atHz, sampleRate);
                    CHECK(std::abs(heard) == Approx(1.0).epsilon(1e-7));
                    // Judgement: 10 degrees between two ways of equal level cost their sum
                    // 0.03 dB.
                    const double degrees =
                        std::arg(heard / prototype.response(atHz)) * 180.0 / std::numbers::pi;
                    CHECK(std::abs(degrees) < 10.0);
                }
            }
}

TEST_CASE("Matched filters of extreme settings are stable and finite", "[core][dsp]")
{
    for (const double sampleRate : {8000.0, 44100.0, 384000.0})
        for (const double frequencyHz : {10.0, 1000.0, 23999.0, 24000.0})
            for (const double q : {0.1, 0.5, 30.0})
                for (const double gainDb : {-40.0, 1e-9, 40.0})
                    for (const auto& prototype :
                         {dsp::analoguePeaking(frequencyHz, q, gainDb),
                          dsp::analogueLowShelf(frequencyHz, q, gainDb),
                          dsp::analogueHighShelf(frequencyHz, q, gainDb),
                          dsp::analogueNotch(frequencyHz, q), dsp::analogueAllPass(frequencyHz, q),
                          dsp::analogueFirstOrderAllPass(frequencyHz),
                          dsp::analogueHighPass(frequencyHz, q),
                          dsp::analogueLowPass(frequencyHz, q),
                          dsp::analogueFirstOrderHighPass(frequencyHz),
                          dsp::analogueFirstOrderLowPass(frequencyHz)}) {
                        CAPTURE(sampleRate, frequencyHz, q, gainDb);
                        for (const auto& section : dsp::matchedBiquads(prototype, sampleRate)) {
                            REQUIRE(std::isfinite(section.b0));
                            REQUIRE(std::isfinite(section.b1));
                            REQUIRE(std::isfinite(section.b2));
                            REQUIRE(std::abs(section.a2) < 1.0);
                            REQUIRE(std::abs(section.a1) < 1.0 + section.a2);
                        }
                    }
}

TEST_CASE("The bilinear transform gives the coefficients worked from the cookbook's formulae",
          "[core][dsp]")
{
    // R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients", worked apart
    // from this program at 48 kHz, to 12 decimals; shelves of slope 1.
    const auto check = [](const AnalogueSection& prototype, const std::array<double, 5>& worked) {
        const auto filter = dsp::bilinearBiquad(prototype, 48000.0);
        CHECK(filter.b0 == Approx(worked[0]).margin(1e-10));
        CHECK(filter.b1 == Approx(worked[1]).margin(1e-10));
        CHECK(filter.b2 == Approx(worked[2]).margin(1e-10));
        CHECK(filter.a1 == Approx(worked[3]).margin(1e-10));
        CHECK(filter.a2 == Approx(worked[4]).margin(1e-10));
    };
    check(dsp::analoguePeaking(1000.0, 1.0, 6.0),
          {1.043953086990, -1.895320723937, 0.867722284760, -1.895320723937, 0.911675371750});
    check(dsp::analogueLowShelf(100.0, 1.0 / std::numbers::sqrt2, 6.0),
          {1.003217895737, -1.984364430777, 0.981386698749, -1.984424329139, 0.984544696124});
    check(dsp::analogueHighShelf(5000.0, 1.0 / std::numbers::sqrt2, -4.0),
          {0.699193791464, -0.710060630699, 0.251832321865, -1.195839795034, 0.436805277664});
}
