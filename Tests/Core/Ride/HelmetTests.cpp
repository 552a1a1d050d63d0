#include "Core/Ride/Helmet.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <cstddef>

using namespace saddletone;
using ride::Helmet;

TEST_CASE("A full-face helmet amplifies below 250 Hz and takes 30 dB at 8 kHz", "[core][ride]")
{
    // Mlynski et al. 2009: about 0 dB below 250 Hz, 8 to 9 dB an octave above 500 Hz, about 30 dB
    // at 8 kHz. Acta Acustica, doi 10.3813/aaa.918679, and Kennedy et al. 2011: gain at low
    // frequencies, none of it above 500 Hz.
    for (const double frequencyHz : {31.5, 63.0, 125.0, 250.0})
        CHECK(ride::insertionLossDb(Helmet::fullFace, frequencyHz) < 0.0);
    CHECK(ride::insertionLossDb(Helmet::fullFace, 8000.0) == Approx(30.0).margin(0.5));
    for (const double frequencyHz : {1000.0, 2000.0})
        CHECK(ride::insertionLossDb(Helmet::fullFace, 2.0 * frequencyHz)
                  - ride::insertionLossDb(Helmet::fullFace, frequencyHz)
              == Approx(8.0).margin(1.0));
}

TEST_CASE("Insertion loss meets the octave points of the model", "[core][ride]")
{
    // The model's table of points, drawn to the slopes above; the open-face row is judgement.
    constexpr std::array<double, 9> octavesHz {31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000};
    constexpr std::array<double, 9> fullFace {-1, -2, -3, -2, 1, 7, 15, 23, 30};
    constexpr std::array<double, 9> openFace {0, 0, -1, -1, 0, 3, 8, 13, 18};
    REQUIRE(ride::octaveCentresHz().size() == octavesHz.size());
    for (std::size_t octave = 0; octave < octavesHz.size(); ++octave) {
        const double frequencyHz = octavesHz[octave];
        CHECK(ride::octaveCentresHz()[octave] == frequencyHz);
        CHECK(ride::insertionLossDb(Helmet::fullFace, frequencyHz)
              == Approx(fullFace[octave]).margin(1e-9));
        CHECK(ride::insertionLossDb(Helmet::openFace, frequencyHz)
              == Approx(openFace[octave]).margin(1e-9));
        CHECK(ride::insertionLossDb(Helmet::none, frequencyHz) == 0.0);
    }
}

TEST_CASE("Insertion loss runs straight between its points and level beyond", "[core][ride]")
{
    CHECK(ride::insertionLossDb(Helmet::fullFace, std::sqrt(1000.0 * 2000.0))
          == Approx(11.0).margin(1e-9));
    CHECK(ride::insertionLossDb(Helmet::openFace, std::sqrt(4000.0 * 8000.0))
          == Approx(15.5).margin(1e-9));
    for (const Helmet helmet : ride::allHelmets) {
        CHECK(ride::insertionLossDb(helmet, 0.0) == ride::insertionLossDb(helmet, 31.5));
        CHECK(ride::insertionLossDb(helmet, 24000.0) == ride::insertionLossDb(helmet, 8000.0));
        double previous = ride::insertionLossDb(helmet, 20.0);
        for (double frequencyHz = 20.0; frequencyHz < 20000.0; frequencyHz *= 1.01) {
            const double loss = ride::insertionLossDb(helmet, frequencyHz);
            REQUIRE(std::abs(loss - previous) < 0.2);
            previous = loss;
        }
    }
}

TEST_CASE("Helmet names round trip and others are refused", "[core][ride]")
{
    for (const Helmet helmet : ride::allHelmets) {
        const auto parsed = ride::parseHelmet(ride::helmetName(helmet));
        REQUIRE(parsed.has_value());
        CHECK(*parsed == helmet);
        CHECK_FALSE(ride::helmetLabel(helmet).empty());
    }
    const auto refused = ride::parseHelmet("half");
    REQUIRE_FALSE(refused.has_value());
    CHECK_THAT(refused.error().message,
               Catch::Contains("'half'") && Catch::Contains("none, open or full"));
}
