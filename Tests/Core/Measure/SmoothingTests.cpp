#include "Core/Measure/Smoothing.h"

#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

measure::Response ofImpulse(double reflection, std::size_t delayFrames)
{
    measure::Response response;
    response.sampleRate = 48000.0;
    response.impulse.assign(48000, 0.0F);
    response.impulse[0] = 1.0F;
    response.impulse[delayFrames] += static_cast<float>(reflection);
    return response;
}

} // namespace

TEST_CASE("The ear's bandwidth is that of Glasberg and Moore (1990)", "[core][measure]")
{
    // 24.7 (4.37 f / 1000 + 1): 132.6 Hz at 1 kHz, 35.5 Hz at 100 Hz, 1104.1 Hz at 10 kHz.
    CHECK(measure::earBandwidthHz(1000.0) == Approx(132.639).margin(0.001));
    CHECK(measure::earBandwidthHz(100.0) == Approx(35.494).margin(0.001));
    CHECK(measure::earBandwidthHz(10000.0) == Approx(1104.09).margin(0.01));
}

TEST_CASE("A flat response stays flat under psychoacoustic smoothing", "[core][measure]")
{
    const std::vector<double> grid {20.0, 100.0, 1000.0, 10000.0, 20000.0};
    for (const double level : measure::psychoacousticDb(ofImpulse(0.0, 10), grid))
        CHECK(level == Approx(0.0).margin(1e-6));
}

TEST_CASE("Peaks count more than dips", "[core][measure]")
{
    // A comb with teeth far narrower than the ear's filter: |1 + r e^(j x)|. Over whole periods the
    // mean of |.|^2 is 1 + r^2, and that of |.|^4 is 1 + 4 r^2 + r^4 (both by expanding).
    const double r = 0.8;
    const auto comb = ofImpulse(r, 4800);
    const std::vector<double> grid {4000.0, 8000.0};
    const double fourth = 2.5 * std::log10(1.0 + 4.0 * r * r + r * r * r * r) * 2.0;
    const double square = 10.0 * std::log10(1.0 + r * r);
    const auto levels = measure::psychoacousticDb(comb, grid);
    const auto powerMean = comb.magnitudeDb(grid, 6);
    for (std::size_t index = 0; index < grid.size(); ++index) {
        CHECK(levels[index] == Approx(fourth).margin(0.05));
        CHECK(powerMean[index] == Approx(square).margin(0.05));
        CHECK(levels[index] > powerMean[index] + 0.5);
    }
}

TEST_CASE("Psychoacoustic smoothing is wider at the bottom than a sixth of an octave",
          "[core][measure]")
{
    // A comb of 40 Hz: at 60 Hz (bandwidth 31 Hz) it is mostly smoothed, a twenty-fourth is not.
    const auto comb = ofImpulse(0.9, 1200);
    const std::vector<double> grid {60.0, 80.0};
    const auto ear = measure::psychoacousticDb(comb, grid);
    const auto narrow = comb.magnitudeDb(grid, 24);
    CHECK(std::abs(ear[1] - ear[0]) < 0.5 * std::abs(narrow[1] - narrow[0]));
}
