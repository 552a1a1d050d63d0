#include "Core/Dsp/LeastSquares.h"

#include <cassert>
#include <cmath>

namespace saddletone::dsp {

LeastSquares::LeastSquares(std::size_t numRows, std::size_t numUnknowns)
    : rows(numRows), unknowns(numUnknowns)
{
    assert(numUnknowns <= maxUnknowns && numRows >= numUnknowns);
}

std::array<double, LeastSquares::maxUnknowns> LeastSquares::solve()
{
    std::array<double, maxUnknowns> scale {};
    for (std::size_t column = 0; column < unknowns; ++column) {
        double sum = 0.0;
        for (const Row& entries : rows)
            sum += entries[column] * entries[column];
        scale[column] = sum > 0.0 ? 1.0 / std::sqrt(sum) : 0.0;
        for (Row& entries : rows)
            entries[column] *= scale[column];
    }
    for (std::size_t pivot = 0; pivot < unknowns; ++pivot)
        reflect(pivot);
    std::array<double, maxUnknowns> solution {};
    for (std::size_t column = unknowns; column-- > 0;) {
        double value = rows[column][unknowns];
        for (std::size_t other = column + 1; other < unknowns; ++other)
            value -= rows[column][other] * solution[other];
        const double diagonal = rows[column][column];
        solution[column] = diagonal == 0.0 ? 0.0 : value / diagonal;
    }
    for (std::size_t column = 0; column < unknowns; ++column)
        solution[column] *= scale[column];
    return solution;
}

void LeastSquares::reflect(std::size_t pivot)
{
    double square = 0.0;
    for (std::size_t index = pivot; index < rows.size(); ++index)
        square += rows[index][pivot] * rows[index][pivot];
    if (square == 0.0)
        return;
    const double head = rows[pivot][pivot];
    const double target = head > 0.0 ? -std::sqrt(square) : std::sqrt(square);
    // The reflector is (head - target, the rest); half its square:
    const double halfSquare = square - head * target;
    rows[pivot][pivot] = head - target;
    for (std::size_t column = pivot + 1; column <= unknowns; ++column) {
        double product = 0.0;
        for (std::size_t index = pivot; index < rows.size(); ++index)
            product += rows[index][pivot] * rows[index][column];
        const double factor = product / halfSquare;
        for (std::size_t index = pivot; index < rows.size(); ++index)
            rows[index][column] -= factor * rows[index][pivot];
    }
    rows[pivot][pivot] = target;
}

} // namespace saddletone::dsp
