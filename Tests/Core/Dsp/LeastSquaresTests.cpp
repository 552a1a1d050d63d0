#include "Core/Dsp/LeastSquares.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace saddletone;

TEST_CASE("A system without contradiction is solved exactly", "[core][dsp]")
{
    // Columns of very different size: x^0 to x^3 at x up to 1000.
    dsp::LeastSquares system(20, 4);
    for (std::size_t index = 0; index < 20; ++index) {
        const double x = 50.0 * static_cast<double>(index + 1);
        double power = 1.0;
        double value = 0.0;
        for (std::size_t column = 0; column < 4; ++column, power *= x) {
            system.row(index)[column] = power;
            value += power * (static_cast<double>(column) - 1.5);
        }
        system.row(index)[4] = value;
    }
    const auto solution = system.solve();
    for (std::size_t column = 0; column < 4; ++column)
        CHECK(solution[column] == Approx(static_cast<double>(column) - 1.5).epsilon(1e-6));
}

TEST_CASE("A contradiction is settled by the least sum of squares", "[core][dsp]")
{
    // A line through (0, 1), (1, 3), (2, 4), (3, 4): slope 1 and intercept 1.5, by the normal
    // equations worked by hand.
    dsp::LeastSquares system(4, 2);
    const double values[] {1.0, 3.0, 4.0, 4.0};
    for (std::size_t index = 0; index < 4; ++index)
        system.row(index) = {1.0, static_cast<double>(index), values[index]};
    const auto solution = system.solve();
    CHECK(solution[0] == Approx(1.5).epsilon(1e-12));
    CHECK(solution[1] == Approx(1.0).epsilon(1e-12));
}

TEST_CASE("An unknown that no row holds comes out as nothing", "[core][dsp]")
{
    dsp::LeastSquares system(3, 2);
    for (std::size_t index = 0; index < 3; ++index)
        system.row(index) = {2.0, 0.0, 6.0};
    const auto solution = system.solve();
    CHECK(solution[0] == Approx(3.0));
    CHECK(solution[1] == 0.0);
}
