#include "Core/Ride/SlowLines.h"

#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Slow lines have unit variance and forget in their time", "[core][ride]")
{
    constexpr double memorySeconds = 1.5;
    constexpr double stepSeconds = 0.05;
    constexpr int numSteps = 200000; // 10000 s
    double square = 0.0;
    double product = 0.0;
    double mean = 0.0;
    // Several seeds, as eight lines stand for the spectrum only on average.
    constexpr int numSeeds = 8;
    for (std::uint64_t seed = 1; seed <= numSeeds; ++seed) {
        const auto lines = ride::memoryLines(memorySeconds, 4.0, seed);
        for (int step = 0; step < numSteps; ++step) {
            const double value = lines.at(step * stepSeconds);
            mean += value / (numSteps * numSeeds);
            square += value * value / (numSteps * numSeeds);
            product += value * lines.at(step * stepSeconds + memorySeconds) / (numSteps * numSeeds);
        }
    }
    CHECK(mean == Approx(0.0).margin(0.01));
    CHECK(square == Approx(1.0).margin(0.02));
    CHECK(product / square == Approx(std::exp(-1.0)).margin(0.12));
}

TEST_CASE("The integral of slow lines has them as its slope", "[core][ride]")
{
    const auto lines = ride::memoryLines(0.7, 2.0, 3);
    for (const double seconds : {0.0, 1.25, 3600.0}) {
        constexpr double step = 1e-3;
        CHECK((lines.integralAt(seconds + step) - lines.integralAt(seconds - step)) / (2.0 * step)
              == Approx(lines.at(seconds)).margin(1e-4));
    }
}
