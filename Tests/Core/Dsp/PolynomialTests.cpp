#include "Core/Dsp/Polynomial.h"

#include <catch2/catch.hpp>

#include <complex>
#include <vector>

using namespace saddletone;

namespace {

using Complex = std::complex<double>;

/** Coefficients, power 0 first, of a product of (x - root). */
std::vector<double> polynomialOf(const std::vector<Complex>& roots)
{
    std::vector<Complex> coefficients {1.0};
    for (const Complex& root : roots) {
        coefficients.insert(coefficients.begin(), 0.0);
        for (std::size_t power = 0; power + 1 < coefficients.size(); ++power)
            coefficients[power] -= root * coefficients[power + 1];
    }
    std::vector<double> real;
    for (const Complex& coefficient : coefficients)
        real.push_back(coefficient.real());
    return real;
}

} // namespace

TEST_CASE("Roots come back from the polynomial they make", "[core][dsp]")
{
    const std::vector<std::vector<Complex>> cases {
        {{3.0, 0.0}},
        {{-2.0, 0.0}, {5.0, 0.0}},
        {{1.0, 2.0}, {1.0, -2.0}},
        {{-0.5, 0.25}, {-0.5, -0.25}, {-4000.0, 0.0}},
        {{1e-4, 0.0}, {1.0, 0.0}, {1e5, 0.0}},
        {{-1.0, 3.0}, {-1.0, -3.0}, {-2.0, 1.0}, {-2.0, -1.0}, {7.0, 0.0}}};
    for (const auto& roots : cases) {
        auto coefficients = polynomialOf(roots);
        // A factor changes no root.
        for (double& coefficient : coefficients)
            coefficient *= -7.5;
        const auto found = dsp::polynomialRoots(coefficients);
        std::size_t numFound = 0;
        bool realSeen = false;
        for (const Complex& root : found) {
            numFound += root.imag() == 0.0 ? 1 : 2;
            CHECK(root.imag() >= 0.0);
            realSeen = realSeen || root.imag() == 0.0;
            CHECK((!realSeen || root.imag() == 0.0));
            double nearest = 1e9;
            for (const Complex& expected : roots)
                nearest = std::min(nearest, std::abs(expected - root) / std::abs(expected));
            CHECK(nearest < 1e-9);
        }
        CHECK(numFound == roots.size());
    }
}

TEST_CASE("A double root is found as two that fall together", "[core][dsp]")
{
    const auto found = dsp::polynomialRoots(polynomialOf({{-2.0, 0.0}, {-2.0, 0.0}}));
    Complex product = 1.0;
    for (const Complex& root : found) {
        // Rounding moves double roots by the square root of its size.
        CHECK(std::abs(root + 2.0) < 1e-6);
        product *= root.imag() == 0.0 ? root : Complex {std::norm(root), 0.0};
    }
    CHECK(product.real() == Approx(4.0).epsilon(1e-6));
}
