#include "Core/Dsp/Polynomial.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>

namespace saddletone::dsp {

std::vector<std::complex<double>> polynomialRoots(std::span<const double> coefficients)
{
    using Complex = std::complex<double>;
    assert(!coefficients.empty() && coefficients.front() != 0.0 && coefficients.back() != 0.0);
    const std::size_t order = coefficients.size() - 1;
    if (order == 1)
        return {Complex {-coefficients[0] / coefficients[1], 0.0}};

    // The Weierstrass (Durand-Kerner) iteration: any start will do that is not symmetric about the
    // real axis.
    constexpr int maxRounds = 300;
    const double radius = std::pow(std::abs(coefficients.front() / coefficients.back()),
                                   1.0 / static_cast<double>(order));
    std::vector<Complex> roots;
    for (std::size_t index = 0; index < order; ++index)
        roots.push_back(std::polar(radius, 2.0 * std::numbers::pi * static_cast<double>(index)
                                                   / static_cast<double>(order)
                                               + 0.4));
    for (int round = 0; round < maxRounds; ++round) {
        double largestStep = 0.0;
        for (std::size_t index = 0; index < order; ++index) {
            Complex value = 0.0;
            for (auto coefficient = coefficients.rbegin(); coefficient != coefficients.rend();
                 ++coefficient)
                value = value * roots[index] + *coefficient;
            Complex others = coefficients.back();
            for (std::size_t other = 0; other < order; ++other)
                if (other != index)
                    others *= roots[index] - roots[other];
            if (others == 0.0)
                continue;
            const Complex step = value / others;
            roots[index] -= step;
            largestStep = std::max(largestStep, std::abs(step) / std::abs(roots[index]));
        }
        if (!(largestStep > 8.0 * std::numeric_limits<double>::epsilon()))
            break;
    }

    // Rounding leaves a real root some imaginary part, and moves roots that fall together apart
    // any way. Whatever stands furthest from the real axis is paired with what is nearest to its
    // mirror image, so that none is lost.
    constexpr double realLimit = 1e-9;
    std::vector<Complex> upper;
    std::vector<Complex> real;
    while (!roots.empty()) {
        const auto furthest = std::ranges::max_element(
            roots, {}, [](const Complex& root) { return std::abs(root.imag()) / std::abs(root); });
        const Complex root = *furthest;
        roots.erase(furthest);
        if (roots.empty() || std::abs(root.imag()) <= realLimit * std::abs(root)) {
            real.emplace_back(root.real(), 0.0);
            continue;
        }
        const auto mirrored = std::ranges::min_element(
            roots, {}, [&](const Complex& other) { return std::abs(other - std::conj(root)); });
        const Complex middle = 0.5 * (root + std::conj(*mirrored));
        roots.erase(mirrored);
        upper.emplace_back(middle.real(), std::abs(middle.imag()));
    }
    std::ranges::sort(upper, {}, [](const Complex& root) { return root.imag(); });
    std::ranges::sort(real, {}, [](const Complex& root) { return root.real(); });
    upper.insert(upper.end(), real.begin(), real.end());
    return upper;
}

} // namespace saddletone::dsp
