#include "Core/Seat/SphericalHead.h"

#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;
using seat::Direction;
using seat::leftEar;
using seat::rightEar;

TEST_CASE("Directions point as AES69 has it", "[core][seat]")
{
    const auto left = seat::unitVector({90.0, 0.0});
    CHECK(left[0] == Approx(0.0).margin(1e-12));
    CHECK(left[1] == Approx(1.0));
    const auto up = seat::unitVector({0.0, 90.0});
    CHECK(up[2] == Approx(1.0));
    CHECK(seat::lateralAngleRadians({-90.0, 0.0}) == Approx(-0.5 * std::numbers::pi));
    CHECK(seat::lateralAngleRadians({180.0, 0.0}) == Approx(0.0).margin(1e-12));
    CHECK(seat::angleBetweenDegrees({0.0, 0.0}, {180.0, 0.0}) == Approx(180.0));
    CHECK(seat::angleBetweenDegrees({10.0, 0.0}, {10.0, 0.001}) == Approx(0.001).margin(1e-9));
    CHECK(seat::angleBetweenDegrees({350.0, 0.0}, {-10.0, 0.0}) == Approx(0.0).margin(1e-9));
}

TEST_CASE("Delays of the sphere are Woodworth's and Kuhn's", "[core][seat]")
{
    // r = 8.75 cm, c = 343 m/s, worked by hand: r/c = 255.102 us.
    const auto side = seat::frontDelaysSeconds({90.0, 0.0});
    CHECK(side[leftEar] == Approx(-255.102e-6).margin(1e-9));
    CHECK(side[rightEar] == Approx(400.713e-6).margin(1e-9));
    const auto right = seat::frontDelaysSeconds({-90.0, 0.0});
    CHECK(right[rightEar] == Approx(side[leftEar]));
    CHECK(right[leftEar] == Approx(side[rightEar]));
    const auto low = seat::lowFrequencyDelaysSeconds({30.0, 0.0});
    CHECK(low[rightEar] - low[leftEar] == Approx(1.5 * 255.102e-6).margin(1e-9));
    const auto ahead = seat::frontDelaysSeconds({0.0, 40.0});
    CHECK(ahead[leftEar] == Approx(0.0).margin(1e-12));
    CHECK(ahead[rightEar] == Approx(0.0).margin(1e-12));
}
