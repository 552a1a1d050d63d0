#include "Core/Ride/FiringPattern.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <limits>
#include <utility>
#include <vector>

using namespace saddletone;
using ride::CylinderLayout;
using ride::EnginePreset;
using ride::FiringPattern;

namespace {

std::vector<double> anglesOf(const dsp::Result<FiringPattern>& pattern)
{
    REQUIRE(pattern);
    return {pattern->angles().begin(), pattern->angles().end()};
}

} // namespace

TEST_CASE("A common crank pin gives a twin the gaps of its bank angle", "[core][ride]")
{
    // Encyclopaedic pages on V-twin firing intervals: 360 - b and 360 + b.
    for (const auto& [bankDegrees, gapDegrees] : std::vector<std::pair<double, double>> {
             {45.0, 315.0}, {60.0, 300.0}, {75.0, 285.0}, {90.0, 270.0}})
        CHECK(anglesOf(ride::firingPatternOf(CylinderLayout {2, bankDegrees, 0.0}))
              == std::vector<double> {0.0, gapDegrees});
}

TEST_CASE("Crank pins set apart make a twin fire evenly or not", "[core][ride]")
{
    // Common practice, no source: a pin offset as large as the bank angle gives even gaps; parallel
    // twins with pins 180 degrees apart fire at 180/540, with 270 degree cranks at 270/450.
    CHECK(anglesOf(ride::firingPatternOf(CylinderLayout {2, 52.0, 52.0}))
          == std::vector<double> {0.0, 360.0});
    CHECK(anglesOf(ride::firingPatternOf(CylinderLayout {2, 0.0, -180.0}))
          == std::vector<double> {0.0, 180.0});
    CHECK(anglesOf(ride::firingPatternOf(CylinderLayout {2, 0.0, -90.0}))
          == std::vector<double> {0.0, 270.0});
    // A 90 degree four with a 180 degree crank: gaps 180, 90, 180, 270.
    CHECK(anglesOf(ride::firingPatternOf(CylinderLayout {4, 90.0, 0.0}))
          == std::vector<double> {0.0, 180.0, 270.0, 450.0});
}

TEST_CASE("Engines that fire evenly have gaps of 720 degrees over their cylinders", "[core][ride]")
{
    for (const auto& [preset, numCylinders] :
         std::vector<std::pair<EnginePreset, std::size_t>> {{EnginePreset::parallelTwin360, 2},
                                                            {EnginePreset::boxerTwin, 2},
                                                            {EnginePreset::inlineThree, 3},
                                                            {EnginePreset::inlineFour, 4},
                                                            {EnginePreset::flatSix, 6}}) {
        const FiringPattern pattern = ride::firingPatternOf(preset);
        CAPTURE(ride::enginePresetName(preset));
        REQUIRE(pattern.numCylinders == numCylinders);
        for (std::size_t index = 0; index < numCylinders; ++index)
            CHECK(
                pattern.anglesDegrees[index]
                == Approx(720.0 / static_cast<double>(numCylinders) * static_cast<double>(index)));
        // All cylinders in step at multiples of n, none elsewhere.
        for (std::size_t halfOrder = 1; halfOrder <= 24; ++halfOrder)
            CHECK(pattern.combWeight(halfOrder)
                  == Approx(halfOrder % numCylinders == 0 ? 1.0 : 0.0).margin(1e-9));
    }
}

TEST_CASE("A 45 degree twin has the worked weights of its half-orders", "[core][ride]")
{
    // |cos(pi k 315 / 720)|, worked apart from this program and written to 0.001.
    const FiringPattern pattern = ride::firingPatternOf(EnginePreset::vTwin45);
    constexpr std::array<std::pair<std::size_t, double>, 13> worked {{{1, 0.195},
                                                                      {2, 0.924},
                                                                      {3, 0.556},
                                                                      {4, 0.707},
                                                                      {5, 0.831},
                                                                      {6, 0.383},
                                                                      {7, 0.981},
                                                                      {8, 0.0},
                                                                      {9, 0.981},
                                                                      {10, 0.383},
                                                                      {12, 0.707},
                                                                      {14, 0.924},
                                                                      {16, 1.0}}};
    for (const auto& [halfOrder, weight] : worked)
        CHECK(pattern.combWeight(halfOrder) == Approx(weight).margin(0.0006));
}

TEST_CASE("Firing angles may be given in any order and begin anywhere", "[core][ride]")
{
    CHECK(anglesOf(ride::makeFiringPattern(std::vector<double> {450.0, 90.0, 360.0, -360.0}))
          == std::vector<double> {0.0, 270.0, 270.0, 360.0});
    CHECK(anglesOf(ride::makeFiringPattern(std::vector<double> {100.0}))
          == std::vector<double> {0.0});
}

TEST_CASE("Engines that cannot be are refused with a reason", "[core][ride]")
{
    for (const CylinderLayout& layout :
         {CylinderLayout {0, 45.0, 0.0}, CylinderLayout {7, 0.0, 0.0},
          CylinderLayout {2, -1.0, 0.0}, CylinderLayout {2, 181.0, 0.0},
          CylinderLayout {2, 45.0, 361.0}, CylinderLayout {3, 60.0, 0.0},
          CylinderLayout {2, std::numeric_limits<double>::quiet_NaN(), 0.0}}) {
        const auto refused = ride::firingPatternOf(layout);
        REQUIRE_FALSE(refused);
        CHECK_FALSE(refused.error().message.empty());
    }
    CHECK_FALSE(ride::makeFiringPattern({}));
    CHECK_FALSE(ride::makeFiringPattern(std::vector<double>(9, 0.0)));
    CHECK_FALSE(ride::makeFiringPattern(std::vector<double> {0.0, 721.0}));
    CHECK_FALSE(
        ride::makeFiringPattern(std::vector<double> {std::numeric_limits<double>::infinity()}));
}

TEST_CASE("Engine names round trip and others are refused", "[core][ride]")
{
    for (const EnginePreset preset : ride::allEnginePresets) {
        const auto parsed = ride::parseEnginePreset(ride::enginePresetName(preset));
        REQUIRE(parsed);
        CHECK(*parsed == preset);
    }
    const auto refused = ride::parseEnginePreset("rotary");
    REQUIRE_FALSE(refused);
    CHECK(refused.error().message.find("flat-six") != std::string::npos);
}
