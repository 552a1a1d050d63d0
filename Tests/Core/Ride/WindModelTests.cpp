#include "Core/Ride/WindModel.h"

#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"
#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

using namespace saddletone;
using ride::Helmet;

namespace {

double levelAtMph(double speedMph, Helmet helmet = Helmet::fullFace)
{
    return ride::WindModel {}.levelDba(dsp::mphToKmh(speedMph), helmet);
}

std::string columnOf(Helmet helmet)
{
    switch (helmet) {
    case Helmet::fullFace: return "full_face_db";
    case Helmet::openFace: return "open_face_db";
    case Helmet::none: break;
    }
    return "bare_head_db";
}

} // namespace

TEST_CASE("Wind noise follows the model's line over speed", "[core][ride]")
{
    // L = 90 + 54 lg(v / 64.4 km/h), worked apart from this program and written to 0.1 dB.
    constexpr std::array<std::pair<double, double>, 9> worked {{{20, 73.7},
                                                                {30, 83.3},
                                                                {40, 90.0},
                                                                {50, 95.2},
                                                                {60, 99.5},
                                                                {65, 101.4},
                                                                {70, 103.1},
                                                                {80, 106.3},
                                                                {100, 111.5}}};
    for (const auto& [speedMph, levelDba] : worked) {
        CAPTURE(speedMph);
        CHECK(levelAtMph(speedMph) == Approx(levelDba).margin(0.1));
    }
}

TEST_CASE("Wind noise under a helmet meets the published points within 1 dB", "[core][ride]")
{
    // Binnington, McCombe and Harris, Br. J. Audiol. 27(6):415-422, 1993.
    CHECK(levelAtMph(40.0) == Approx(90.0).margin(1.0));
    // McCombe, Binnington and Nash, Occup. Med. 44(5):239-242, 1994.
    CHECK(levelAtMph(50.0) == Approx(95.0).margin(1.0));
    CHECK(levelAtMph(80.0) == Approx(107.0).margin(1.0));
    // 110 dB(A) in McCombe's thesis, Edinburgh 1994, 112 in Binnington et al. 1993.
    CHECK(levelAtMph(100.0) > 110.0 - 1.0);
    CHECK(levelAtMph(100.0) < 112.0 + 1.0);
}

TEST_CASE("A bare head hears 18 dB more and an open face 2 dB more", "[core][ride]")
{
    // Bare head: Binnington et al. 1993; Harrison, US Forest Service, 1973. Open face: judgement.
    for (const double speedMph : {20.0, 45.0, 90.0}) {
        CHECK(levelAtMph(speedMph, Helmet::none) - levelAtMph(speedMph)
              == Approx(18.0).margin(1e-9));
        CHECK(levelAtMph(speedMph, Helmet::openFace) - levelAtMph(speedMph)
              == Approx(2.0).margin(1e-9));
    }
    // A wind-tunnel study of cyclists found 120.3 dB at 60 mph and the worst angle.
    CHECK(levelAtMph(60.0, Helmet::none) == Approx(120.3).margin(4.0));
}

TEST_CASE("A parked bike has no wind", "[core][ride]")
{
    for (const Helmet helmet : ride::allHelmets) {
        CHECK(levelAtMph(0.0, helmet) == dsp::silenceDb);
        CHECK(std::isfinite(levelAtMph(0.001, helmet)));
    }
}

TEST_CASE("The settings of the model act as their names say", "[core][ride]")
{
    const ride::WindModel model {
        .anchorDba = 88.0, .anchorSpeedKmh = 50.0, .slopeDbPerDecade = 60.0};
    CHECK(model.levelDba(50.0, Helmet::fullFace) == Approx(88.0));
    CHECK(model.levelDba(500.0, Helmet::fullFace) == Approx(148.0));
}

TEST_CASE("The octave levels are those of the published default spectrum", "[core][ride]")
{
    const test::ReferenceTable table("road_noise_default_spectrum.csv");
    for (const Helmet helmet : ride::allHelmets) {
        const auto levels = ride::windOctaveLevelsDb(helmet);
        REQUIRE(levels.size() == table.numRows());
        double weighted = 0.0;
        for (std::size_t octave = 0; octave < levels.size(); ++octave) {
            CHECK(levels[octave] == Approx(table.number(octave, columnOf(helmet))).margin(1e-9));
            weighted += dsp::dbToPower(
                levels[octave]
                + dsp::weightingDb(dsp::Weighting::a, table.number(octave, "octave_hz")));
        }
        // Normalised so; the table is rounded to 0.1 dB.
        CHECK(dsp::powerToDb(weighted) == Approx(0.0).margin(0.1));
    }
}
