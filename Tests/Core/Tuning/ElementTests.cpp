#include "Core/Tuning/Element.h"

#include "Core/Dsp/Units.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <complex>
#include <numbers>

using namespace saddletone;
using tuning::Alignment;
using tuning::Element;
using tuning::ElementType;

namespace {

double levelDb(const Element& element, double frequencyHz)
{
    return dsp::amplitudeToDb(std::abs(tuning::elementResponse(element, frequencyHz)));
}

std::complex<double> designedResponse(const Element& element, double frequencyHz, double sampleRate)
{
    std::complex<double> response = 1.0;
    for (const auto& section : tuning::designElement(element, sampleRate))
        response *= section.response(frequencyHz, sampleRate);
    return response;
}

} // namespace

TEST_CASE("The bands of a graphic are the third octaves from 20 Hz to 20 kHz", "[core][tuning]")
{
    // IEC 61260-1, table E.1: exact mid-band frequencies, base ten.
    const auto frequenciesHz = tuning::graphicFrequenciesHz();
    CHECK(frequenciesHz.front() == Approx(19.953).margin(0.001));
    CHECK(frequenciesHz[8] == Approx(125.89).margin(0.01));
    CHECK(frequenciesHz[17] == Approx(1000.0).margin(1e-9));
    CHECK(frequenciesHz.back() == Approx(19953.0).margin(1.0));
}

TEST_CASE("One band of a graphic is a third octave wide", "[core][tuning]")
{
    CHECK(tuning::graphicBandQ
          == Approx(1.0 / (2.0 * std::sinh(std::numbers::ln2 / 6.0))).epsilon(1e-12));
    Element graphic {.type = ElementType::graphic};
    graphic.bandGainsDb[17] = 9.0;
    CHECK(levelDb(graphic, 1000.0) == Approx(9.0).margin(1e-9));
    for (const double edgeHz : {1000.0 * std::exp2(-1.0 / 6.0), 1000.0 * std::exp2(1.0 / 6.0)})
        CHECK(levelDb(graphic, edgeHz) == Approx(4.5).margin(1e-9));
    // Bands that are not moved cost nothing.
    CHECK(tuning::analogueSections(graphic).size() == 1);
    CHECK(tuning::analogueSections({.type = ElementType::graphic}).empty());
}

TEST_CASE("A graphic is the sum of its bands in dB", "[core][tuning]")
{
    Element graphic {.type = ElementType::graphic};
    for (std::size_t band = 0; band < graphic.bandGainsDb.size(); ++band)
        graphic.bandGainsDb[band] = band % 2 == 0 ? 3.0 : -2.0;
    const auto frequenciesHz = tuning::graphicFrequenciesHz();
    for (const double frequencyHz : {25.0, 180.0, 1000.0, 7000.0, 19000.0}) {
        double sumDb = 0.0;
        for (std::size_t band = 0; band < graphic.bandGainsDb.size(); ++band)
            sumDb += levelDb({.type = ElementType::peaking,
                              .frequencyHz = frequenciesHz[band],
                              .gainDb = graphic.bandGainsDb[band],
                              .q = tuning::graphicBandQ},
                             frequencyHz);
        CHECK(levelDb(graphic, frequencyHz) == Approx(sumDb).margin(1e-9));
    }
}

TEST_CASE("A shelf takes its steepness from slope or q", "[core][tuning]")
{
    for (const auto type : {ElementType::lowShelf, ElementType::highShelf}) {
        const Element bySlope {
            .type = type, .frequencyHz = 300.0, .gainDb = 9.0, .q = 5.0, .slope = 1.0};
        const Element byQ {
            .type = type, .frequencyHz = 300.0, .gainDb = 9.0, .q = 1.0 / std::numbers::sqrt2};
        CHECK(tuning::elementQ(bySlope) == Approx(1.0 / std::numbers::sqrt2));
        CHECK_FALSE(tuning::hasQ(bySlope));
        CHECK(tuning::hasQ(byQ));
        for (const double frequencyHz : {50.0, 300.0, 2000.0})
            CHECK(std::abs(tuning::elementResponse(bySlope, frequencyHz)
                           - tuning::elementResponse(byQ, frequencyHz))
                  < 1e-12);
    }
    // The cookbook: with A = 10^(9/40) and S = 0.5, 1/Q = sqrt((A + 1/A)(1/S - 1) + 2).
    const double a = std::pow(10.0, 9.0 / 40.0);
    CHECK(tuning::elementQ({.type = ElementType::lowShelf, .gainDb = 9.0, .slope = 0.5})
          == Approx(1.0 / std::sqrt(a + 1.0 / a + 2.0)));
}

TEST_CASE("Gain, polarity, delay and limiter have the response their name says", "[core][tuning]")
{
    CHECK(levelDb({.type = ElementType::gain, .gainDb = -7.5}, 100.0) == Approx(-7.5));
    CHECK(tuning::elementResponse({.type = ElementType::polarity}, 100.0)
          == std::complex<double> {-1.0, 0.0});
    // A quarter of a cycle at 250 Hz is 1 ms.
    CHECK(std::abs(tuning::elementResponse({.type = ElementType::delay, .delayMs = 1.0}, 250.0)
                   - std::complex<double> {0.0, -1.0})
          < 1e-12);
    const Element limiter {.type = ElementType::limiter, .thresholdDbfs = -20.0};
    CHECK(tuning::elementResponse(limiter, 100.0) == std::complex<double> {1.0, 0.0});
    CHECK(tuning::designElement(limiter, 48000.0).empty());
}

TEST_CASE("What is heard stays with what is meant for every filter", "[core][tuning]")
{
    // 0.3 dB up to 20 kHz at 44.1 kHz where the prototype stands above -30 dB; the sections
    // themselves are held tighter by the tests of MatchedBiquad.
    Element graphic {.type = ElementType::graphic};
    for (std::size_t band = 0; band < graphic.bandGainsDb.size(); ++band)
        graphic.bandGainsDb[band] = band % 3 == 0 ? 6.0 : -3.0;
    for (const Element& element : {
             Element {
                 .type = ElementType::peaking, .frequencyHz = 16000.0, .gainDb = 12.0, .q = 1.0},
             Element {.type = ElementType::lowShelf, .frequencyHz = 80.0, .gainDb = 12.0},
             Element {.type = ElementType::highShelf,
                     .frequencyHz = 12000.0,
                     .gainDb = -12.0,
                     .slope = 0.7},
             Element {.type = ElementType::highPass,
                     .frequencyHz = 12000.0,
                     .alignment = Alignment::linkwitzRiley,
                     .order = 8},
             Element {.type = ElementType::lowPass,
                     .frequencyHz = 12000.0,
                     .alignment = Alignment::bessel,
                     .order = 8},
             Element {.type = ElementType::notch, .frequencyHz = 9000.0, .q = 1.0},
             graphic,
         })
        for (double frequencyHz = 15.0; frequencyHz < 20000.0; frequencyHz *= 1.05) {
            const double meantDb = levelDb(element, frequencyHz);
            if (meantDb < -30.0)
                continue;
            CAPTURE(tuning::elementTypeName(element.type), frequencyHz);
            CHECK(dsp::amplitudeToDb(std::abs(designedResponse(element, frequencyHz, 44100.0)))
                  == Approx(meantDb).margin(0.3));
        }
}
