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

TEST_CASE("Near sounds differ at the ears of a rigid sphere by the closed form of their series",
          "[core][seat]")
{
    // With G = 1 / sqrt(1 - 2 t x + t^2), whose coefficients are the Legendre polynomials, the sum
    // of (2n + 1)/(n + 1) t^n P_n(x) is 2 G less its mean from 0 to t, which is
    // log((t - x + sqrt(1 - 2 t x + t^2)) / (1 - x)) / t.
    const auto closedForm = [](double t, double x) {
        const double root = std::sqrt(1.0 - 2.0 * t * x + t * t);
        return 2.0 / root - std::log((t - x + root) / (1.0 - x)) / t;
    };
    for (const double metres : {0.25, 0.4, 0.7, 1.4, 3.0})
        for (const Direction direction : {Direction {25.0, -30.0}, Direction {-60.0, 10.0},
                                          Direction {145.0, -35.0}, Direction {88.0, 0.0}}) {
            CAPTURE(metres, direction.azimuthDegrees);
            const auto gains = seat::nearFieldGains(direction, metres);
            const double t = 0.0875 / metres;
            const double radians = std::numbers::pi / 180.0;
            const double x = std::sin(direction.azimuthDegrees * radians)
                             * std::cos(direction.elevationDegrees * radians);
            CHECK(gains[leftEar] == Approx(closedForm(t, x)).epsilon(1e-9));
            CHECK(gains[rightEar] == Approx(closedForm(t, -x)).epsilon(1e-9));
        }
    // From ahead both ears hear the same.
    const auto ahead = seat::nearFieldGains({0.0, 0.0}, 0.5);
    CHECK(ahead[leftEar] == Approx(ahead[rightEar]));
}
