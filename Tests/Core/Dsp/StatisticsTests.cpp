#include "Core/Dsp/Statistics.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

using namespace saddletone;

TEST_CASE("The median is the value in the middle, whatever the order", "[dsp][statistics]")
{
    CHECK(dsp::medianOf({7.0}) == 7.0);
    CHECK(dsp::medianOf({3.0, -1.0}) == 1.0);
    CHECK(dsp::medianOf({9.0, 1.0, 5.0}) == 5.0);
    CHECK(dsp::medianOf({4.0, 100.0, 2.0, 1.0}) == 3.0);
    CHECK(dsp::medianOf({2.0, 2.0, 2.0, 50.0, 2.0, -50.0}) == 2.0);
}

TEST_CASE("Of 100 normal values 95 are within the limit for 95 of 100", "[dsp][statistics]")
{
    CHECK(std::erf(dsp::normal95 / std::numbers::sqrt2) == Approx(0.95).margin(1e-6));
}
