#pragma once

#include <complex>
#include <span>
#include <vector>

namespace saddletone::dsp {

/** All roots of a polynomial with real coefficients, power 0 first, the first and the last not 0.
    Roots with an imaginary part come as the upper one of each pair, before the real ones, so that
    the sections of a filter can be read off: a pair each, then what is real. */
[[nodiscard]] std::vector<std::complex<double>>
polynomialRoots(std::span<const double> coefficients);

} // namespace saddletone::dsp
