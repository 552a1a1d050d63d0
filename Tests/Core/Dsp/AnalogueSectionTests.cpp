#include "Core/Dsp/AnalogueSection.h"

#include "Core/Dsp/Units.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

using namespace saddletone;
using dsp::AnalogueSection;
using dsp::PassBand;

namespace {

using Complex = std::complex<double>;

double gainDb(const AnalogueSection& section, double frequencyHz)
{
    return dsp::amplitudeToDb(std::abs(section.response(frequencyHz)));
}

Complex cascade(const std::vector<AnalogueSection>& sections, double frequencyHz)
{
    Complex product = 1.0;
    for (const AnalogueSection& section : sections)
        product *= section.response(frequencyHz);
    return product;
}

double groupDelay(const std::vector<AnalogueSection>& sections, double frequencyHz)
{
    const double stepHz = 1e-4 * frequencyHz;
    const Complex turn =
        cascade(sections, frequencyHz + stepHz) / cascade(sections, frequencyHz - stepHz);
    return -std::arg(turn) / (4.0 * std::numbers::pi * stepHz);
}

} // namespace

TEST_CASE("Bessel poles are those that SciPy gives", "[core][dsp]")
{
    // scipy.signal.bessel(N, 1, analog=True, norm='mag', output='zpk'), SciPy 1.10; the upper pole
    // of each pair, the real one last.
    const std::array<std::vector<Complex>, 8> expected {{
        {{-1.000000000000, 0.0}},
        {{-1.101601330592, 0.636009824757}},
        {{-1.047409161009, 0.999264436281}, {-1.322675799910, 0.0}},
        {{-1.370067830551, 0.410249717494}, {-0.995208764350, 1.257105739455}},
        {{-1.380877325860, 0.717909587627},
         {-0.957676548563, 1.471124320730},
         {-1.502316271447, 0.0}},
        {{-1.571490403616, 0.320896374223},
         {-1.381858097597, 0.971471890712},
         {-0.930656522947, 1.661863268943}},
        {{-1.612038766226, 0.589244506931},
         {-1.378903216795, 1.191566777801},
         {-0.909867780623, 1.836451353036},
         {-1.684368179273, 0.0}},
        {{-1.757408400402, 0.272867575102},
         {-1.636939418127, 0.822795625140},
         {-1.373841217637, 1.388356575878},
         {-0.892869718847, 1.998325843641}},
    }};
    for (int order = 1; order <= 8; ++order) {
        const auto poles = dsp::besselPoles(order);
        const auto& tabled = expected[static_cast<std::size_t>(order - 1)];
        CAPTURE(order);
        REQUIRE(poles.size() == tabled.size());
        // The figures have 12 decimals; roots of order 8 lose some to rounding.
        for (std::size_t index = 0; index < poles.size(); ++index)
            CHECK(std::abs(poles[index] - tabled[index]) < 1e-10);
    }
}

TEST_CASE("Analogue passes have their level at their frequency", "[core][dsp]")
{
    for (const auto band : {PassBand::belowFrequency, PassBand::aboveFrequency}) {
        for (int order = 1; order <= 8; ++order) {
            CHECK(std::norm(cascade(dsp::analogueButterworth(band, order, 700.0), 700.0))
                  == Approx(0.5).epsilon(1e-9));
            CHECK(std::norm(cascade(dsp::analogueBessel(band, order, 700.0), 700.0))
                  == Approx(0.5).epsilon(1e-9));
        }
        // Linkwitz, JAES 24(1):2-8, 1976.
        for (const int order : {2, 4, 8})
            CHECK(std::abs(cascade(dsp::analogueLinkwitzRiley(band, order, 700.0), 700.0))
                  == Approx(0.5).epsilon(1e-9));
    }
}

TEST_CASE("Analogue Butterworth passes have the maximally flat magnitude", "[core][dsp]")
{
    // |H|^2 = 1 / (1 + w^2n), Butterworth 1930.
    for (int order = 1; order <= 8; ++order)
        for (double ratio = 0.05; ratio < 20.0; ratio *= 1.3) {
            const double power = std::pow(ratio, 2.0 * order);
            const auto low = dsp::analogueButterworth(PassBand::belowFrequency, order, 400.0);
            const auto high = dsp::analogueButterworth(PassBand::aboveFrequency, order, 400.0);
            CHECK(std::norm(cascade(low, 400.0 * ratio)) == Approx(1.0 / (1.0 + power)));
            CHECK(std::norm(cascade(high, 400.0 * ratio)) == Approx(power / (1.0 + power)));
        }
}

TEST_CASE("Analogue Linkwitz-Riley ways add up to a flat level, in phase all the way",
          "[core][dsp]")
{
    for (const int order : {2, 4, 8})
        for (double frequencyHz = 10.0; frequencyHz < 40000.0; frequencyHz *= 1.2) {
            const Complex low = cascade(
                dsp::analogueLinkwitzRiley(PassBand::belowFrequency, order, 900.0), frequencyHz);
            // Order 2 needs one way turned over.
            const Complex high =
                (order == 2 ? -1.0 : 1.0)
                * cascade(dsp::analogueLinkwitzRiley(PassBand::aboveFrequency, order, 900.0),
                          frequencyHz);
            CHECK(std::abs(low + high) == Approx(1.0).epsilon(1e-9));
            CHECK(std::abs(low) + std::abs(high) == Approx(1.0).epsilon(1e-9));
        }
}

TEST_CASE("Analogue Butterworth ways of odd order add up to a flat level", "[core][dsp]")
{
    for (const int order : {1, 3, 5, 7})
        for (double frequencyHz = 10.0; frequencyHz < 40000.0; frequencyHz *= 1.2)
            CHECK(
                std::abs(cascade(dsp::analogueButterworth(PassBand::belowFrequency, order, 900.0),
                                 frequencyHz)
                         + cascade(dsp::analogueButterworth(PassBand::aboveFrequency, order, 900.0),
                                   frequencyHz))
                == Approx(1.0).epsilon(1e-9));
}

TEST_CASE("A Bessel low-pass delays all that it passes alike", "[core][dsp]")
{
    // The delay of order 4 and up stays within 1 % up to half its -3 dB frequency, where that of a
    // Butterworth of order 4 has grown by a tenth.
    const auto butterworth = dsp::analogueButterworth(PassBand::belowFrequency, 4, 1000.0);
    CHECK(groupDelay(butterworth, 500.0) / groupDelay(butterworth, 10.0) > 1.1);
    for (int order = 4; order <= 8; ++order) {
        const auto bessel = dsp::analogueBessel(PassBand::belowFrequency, order, 1000.0);
        CHECK(groupDelay(bessel, 500.0) == Approx(groupDelay(bessel, 10.0)).epsilon(0.01));
    }
}

TEST_CASE("A Bessel high-pass mirrors the magnitude of the low-pass", "[core][dsp]")
{
    for (int order = 1; order <= 8; ++order)
        for (const double ratio : {0.2, 0.7, 1.3, 4.0})
            CHECK(std::abs(cascade(dsp::analogueBessel(PassBand::aboveFrequency, order, 1000.0),
                                   1000.0 * ratio))
                  == Approx(
                      std::abs(cascade(dsp::analogueBessel(PassBand::belowFrequency, order, 1000.0),
                                       1000.0 / ratio))));
}

TEST_CASE("An analogue peaking filter has its gain at its frequency and width by its q",
          "[core][dsp]")
{
    for (const double q : {0.3, 1.0, 8.0})
        for (const double peakDb : {-12.0, -3.0, 0.0, 6.0, 12.0}) {
            const auto peak = dsp::analoguePeaking(900.0, q, peakDb);
            CHECK(gainDb(peak, 900.0) == Approx(peakDb).margin(1e-9));
            CHECK(gainDb(peak, 0.0) == Approx(0.0).margin(1e-9));
            CHECK(gainDb(peak, 9e8) == Approx(0.0).margin(1e-6));
            const double half = 0.5 / q;
            const double upperHz = 900.0 * (std::sqrt(1.0 + half * half) + half);
            const double lowerHz = 900.0 * (std::sqrt(1.0 + half * half) - half);
            CHECK(gainDb(peak, lowerHz) == Approx(0.5 * peakDb).margin(1e-9));
            CHECK(gainDb(peak, upperHz) == Approx(0.5 * peakDb).margin(1e-9));
            CHECK(std::abs(peak.response(777.0)
                               * dsp::analoguePeaking(900.0, q, -peakDb).response(777.0)
                           - 1.0)
                  < 1e-12);
        }
}

TEST_CASE("Analogue shelves have half their gain at their frequency", "[core][dsp]")
{
    for (const double q : {0.3, 0.7071, 8.0})
        for (const double shelfDb : {-12.0, 5.0}) {
            const auto low = dsp::analogueLowShelf(250.0, q, shelfDb);
            const auto high = dsp::analogueHighShelf(250.0, q, shelfDb);
            CHECK(gainDb(low, 250.0) == Approx(0.5 * shelfDb).margin(1e-9));
            CHECK(gainDb(high, 250.0) == Approx(0.5 * shelfDb).margin(1e-9));
            CHECK(gainDb(low, 0.0) == Approx(shelfDb).margin(1e-9));
            CHECK(gainDb(high, 2.5e8) == Approx(shelfDb).margin(1e-6));
            // A low shelf is a high shelf of the opposite gain, lifted by its own.
            for (const double frequencyHz : {30.0, 200.0, 4000.0})
                CHECK(gainDb(low, frequencyHz)
                      == Approx(shelfDb
                                + gainDb(dsp::analogueHighShelf(250.0, q, -shelfDb), frequencyHz))
                             .margin(1e-9));
        }
}

TEST_CASE("Analogue all-passes turn the phase and leave the level", "[core][dsp]")
{
    for (const double q : {0.3, 2.0}) {
        const auto second = dsp::analogueAllPass(500.0, q);
        const auto first = dsp::analogueFirstOrderAllPass(500.0);
        for (double frequencyHz = 5.0; frequencyHz < 50000.0; frequencyHz *= 1.5) {
            CHECK(std::abs(second.response(frequencyHz)) == Approx(1.0).epsilon(1e-12));
            CHECK(std::abs(first.response(frequencyHz)) == Approx(1.0).epsilon(1e-12));
        }
        CHECK(std::abs(second.response(500.0) + 1.0) < 1e-12);
        CHECK(std::abs(first.response(500.0) - Complex {0.0, -1.0}) < 1e-12);
    }
}

TEST_CASE("An analogue notch is silent at its frequency and as wide as its q says", "[core][dsp]")
{
    for (const double q : {0.3, 1.0, 8.0}) {
        const auto notch = dsp::analogueNotch(60.0, q);
        CHECK(std::abs(notch.response(60.0)) < 1e-12);
        const double half = 0.5 / q;
        for (const double edge :
             {std::sqrt(1.0 + half * half) - half, std::sqrt(1.0 + half * half) + half})
            CHECK(std::norm(notch.response(60.0 * edge)) == Approx(0.5).epsilon(1e-9));
        CHECK(std::abs(notch.response(0.0)) == Approx(1.0));
    }
}
