#include "Core/Seat/SpectrumShape.h"

#include "Core/Dsp/Units.h"

#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Smoothing over a part of an octave is the mean of the bins in it", "[core][seat]")
{
    std::vector<double> power(2001);
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = static_cast<double>(bin);
    // The mean of a straight line over an interval is its middle.
    const auto around = seat::smoothedPower(power, 1.0);
    CHECK(around[800] == Approx(400.0 * (std::sqrt(0.5) + std::sqrt(2.0))).epsilon(1e-6));
    const auto below = seat::meanPowerAround(power, 1.0, 0.0);
    // The bin itself is included to its upper edge.
    CHECK(below[1000] == Approx(0.5 * (500.0 + 1000.5)).epsilon(1e-6));
    const auto above = seat::meanPowerAround(power, 0.0, 0.5);
    CHECK(above[1000] == Approx(0.5 * (999.5 + 1000.0 * std::sqrt(2.0))).epsilon(1e-6));
    for (const double value : seat::smoothedPower(std::vector<double>(500, 3.0), 0.5))
        CHECK(value == Approx(3.0).epsilon(1e-9));
    CHECK(around.front() == 0.0);
}

TEST_CASE("Taps that pass a limit are scaled down to it and others left alone", "[core][seat]")
{
    std::vector<double> taps {1.5, 0.5};
    CHECK(seat::keepBelow(3.0, 1024, taps) == 3.0);
    CHECK(taps[0] + taps[1] == Approx(dsp::dbToAmplitude(3.0)));
    CHECK(taps[0] == Approx(3.0 * taps[1]));
    std::vector<double> quiet {0.25, -0.25};
    CHECK(seat::keepBelow(3.0, 1024, quiet) == Approx(dsp::amplitudeToDb(0.5)));
    CHECK(quiet == std::vector<double> {0.25, -0.25});
}

TEST_CASE("Designed filters have bins of 0.4 Hz or less at every sample rate", "[core][seat]")
{
    for (const double sampleRate : {8000.0, 44100.0, 48000.0, 96000.0, 192000.0, 384000.0})
        CHECK(sampleRate / static_cast<double>(seat::designSizeFor(sampleRate)) <= 0.4);
}
