#pragma once

#include "Core/Tuning/Element.h"

#include <cstddef>
#include <span>

namespace saddletone::tuning {

/** A filter as an optimiser sees it: three numbers, each of which moves the level evenly. */
struct FitFilter {
    ElementType type = ElementType::peaking; ///< peaking, lowShelf or highShelf.
    double logHz = 6.9;                      ///< Natural logarithm of the frequency.
    double gainDb = 0.0;
    double logQ = 0.0; ///< Natural logarithm.

    bool operator==(const FitFilter&) const = default;
};

inline constexpr std::size_t numFilterNumbers = 3;

[[nodiscard]] Element elementOf(const FitFilter& filter);

/** Power gain of a filter's analogue prototype at frequencies given as their squares, multiplied
    onto powers. */
void multiplyPowers(const FitFilter& filter, std::span<const double> squaredHz,
                    std::span<double> powers);

/** The same, with the derivative of the level in dB by each of the filter's numbers. */
void multiplyPowers(const FitFilter& filter, std::span<const double> squaredHz,
                    std::span<double> powers, std::span<double> dbPerLogHz,
                    std::span<double> dbPerGainDb, std::span<double> dbPerLogQ);

} // namespace saddletone::tuning
