#pragma once

#include <array>
#include <cstddef>
#include <vector>

namespace saddletone::dsp {

/** A small overdetermined system, solved by Householder reflections (Golub, Numerische Mathematik
    7, 1965). Columns are scaled first, so that unknowns of very different size do no harm. */
class LeastSquares {
public:
    static constexpr std::size_t maxUnknowns = 7;
    /** A row: the factors of the unknowns, then the right side. */
    using Row = std::array<double, maxUnknowns + 1>;

    LeastSquares(std::size_t numRows, std::size_t numUnknowns);

    [[nodiscard]] Row& row(std::size_t index) { return rows[index]; }
    /** Consumes the rows. An unknown that no row holds comes out as 0. */
    [[nodiscard]] std::array<double, maxUnknowns> solve();

private:
    void reflect(std::size_t pivot);

    std::vector<Row> rows;
    std::size_t unknowns;
};

} // namespace saddletone::dsp
