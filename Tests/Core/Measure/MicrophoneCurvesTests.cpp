#include "Core/Measure/MicrophoneCurves.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using measure::Incidence;

TEST_CASE("The microphone's curve is chosen by incidence, and a stand-in says that it is one",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "0.txt", "* on axis\n1000\t0\n10000\t+1.5\n");
    test::writeBytes(folder / "90.txt", "1000;0,0\n10000;-2,5\n");
    const auto both = measure::readMicrophoneCurves(folder / "0.txt", folder / "90.txt");
    REQUIRE(both);
    const auto onAxis = measure::chooseCurve(*both, Incidence::zeroDegrees);
    const auto across = measure::chooseCurve(*both, Incidence::ninetyDegrees);
    REQUIRE(onAxis);
    REQUIRE(across);
    CHECK(onAxis->table.levelDbAt(10000.0) == 1.5);
    CHECK(across->table.levelDbAt(10000.0) == -2.5);
    CHECK(onAxis->remark.empty());
    CHECK(across->remark.empty());

    const auto one = measure::readMicrophoneCurves(folder / "0.txt", "");
    REQUIRE(one);
    const auto standIn = measure::chooseCurve(*one, Incidence::ninetyDegrees);
    REQUIRE(standIn);
    CHECK(standIn->incidence == Incidence::zeroDegrees);
    CHECK(standIn->table.levelDbAt(10000.0) == 1.5);
    CHECK_THAT(standIn->remark, Catch::Contains("Only the microphone's curve for 0 degrees")
                                    && Catch::Contains("from 90 degrees"));

    const auto none = measure::readMicrophoneCurves("", "");
    REQUIRE(none);
    CHECK_FALSE(measure::chooseCurve(*none, Incidence::zeroDegrees));
    CHECK_FALSE(measure::readMicrophoneCurves(folder / "missing.txt", ""));
    CHECK_FALSE(measure::readMicrophoneCurves("", folder / "missing.txt"));
    CHECK(*measure::parseIncidence("90") == Incidence::ninetyDegrees);
    CHECK_FALSE(measure::parseIncidence("45"));
}
