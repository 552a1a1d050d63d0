#include "Core/Dsp/SlicedTransform.h"

#include <algorithm>
#include <bit>
#include <cassert>
#include <cmath>
#include <numbers>
#include <numeric>

namespace saddletone::dsp {

namespace {

/** Values that one step of a pass takes: it then lasts about as long as two tiles. */
constexpr std::size_t valuesPerStep = 512;

/** Passes of radix 8 as far as they go; what is left over comes first. */
std::size_t outerRadix(std::size_t length) noexcept
{
    const auto doublings = static_cast<std::size_t>(std::countr_zero(length / tileBins));
    return std::size_t {1} << (doublings % 3 == 0 ? 3 : doublings % 3);
}

/** Of a pass over valuesPerStep values, measured like SlicedTransform::workPerTile. */
std::uint32_t passWork(std::size_t radix) noexcept
{
    return radix == 8 ? 50 : radix == 4 ? 40 : 32;
}

} // namespace

SlicedTransform::SlicedTransform(std::size_t size) : numValues(size), kernels(&spectralKernels())
{
    assert(size >= tileBins && std::has_single_bit(size));
    // t^size = i.
    addSteps(0, size, std::numbers::pi / 2.0);
}

void SlicedTransform::addSteps(std::size_t firstValue, std::size_t length, double angleRadians)
{
    // Remainders modulo t^length - e^(i angle).
    const auto addRotation = [&](double radians) {
        rotations.push_back(static_cast<float>(std::cos(radians)));
        rotations.push_back(static_cast<float>(std::sin(radians)));
    };
    // Every step's rotations begin at a cache line.
    rotations.resize((rotations.size() + 15) / 16 * 16, 0.0F);
    const std::size_t firstRotation = rotations.size();

    if (length == tileBins) {
        for (int row = 1; row < 8; ++row)
            addRotation(row * angleRadians / 8.0);
        for (int row = 1; row < 8; ++row) {
            const auto radiansOf = [&](int column) {
                return row * (angleRadians + 2.0 * std::numbers::pi * column) / 64.0;
            };
            for (int column = 0; column < 8; ++column)
                rotations.push_back(static_cast<float>(std::cos(radiansOf(column))));
            for (int column = 0; column < 8; ++column)
                rotations.push_back(static_cast<float>(std::sin(radiansOf(column))));
        }
        forwardOrder.push_back({.tile = firstValue / tileBins,
                                .firstValue = firstValue,
                                .rotations = firstRotation,
                                .isOutermost = length == numValues,
                                .work = workPerTile});
        inverseOrder.push_back(forwardOrder.back());
        return;
    }

    const std::size_t radix = outerRadix(length);
    const std::size_t distance = length / radix;
    for (std::size_t row = 1; row < radix; ++row)
        addRotation(static_cast<double>(row) * angleRadians / static_cast<double>(radix));
    const std::size_t perStep = std::min(distance, valuesPerStep / radix);
    std::vector<Step> pass;
    for (std::size_t begin = 0; begin < distance; begin += perStep)
        pass.push_back({.radix = radix,
                        .firstValue = firstValue,
                        .distance = distance,
                        .begin = begin,
                        .end = begin + perStep,
                        .rotations = firstRotation,
                        .isOutermost = length == numValues,
                        .work = static_cast<std::uint32_t>(passWork(radix) * perStep * radix
                                                           / valuesPerStep)});
    forwardOrder.insert(forwardOrder.end(), pass.begin(), pass.end());
    for (std::size_t row = 0; row < radix; ++row)
        addSteps(firstValue + row * distance, distance,
                 (angleRadians + 2.0 * std::numbers::pi * static_cast<double>(row))
                     / static_cast<double>(radix));
    inverseOrder.insert(inverseOrder.end(), pass.begin(), pass.end());
}

std::uint32_t SlicedTransform::totalWork() const noexcept
{
    return std::accumulate(forwardOrder.begin(), forwardOrder.end(), std::uint32_t {0},
                           [](std::uint32_t sum, const Step& step) { return sum + step.work; });
}

void SlicedTransform::forward(std::span<const float> real, std::span<const float> imag,
                              std::span<float> tiles, std::size_t tileDistance) const
{
    assert(real.size() == numValues && imag.size() == numValues);
    assert(tiles.size() >= (numTiles() - 1) * tileDistance + tileFloats);
    AlignedFloats work(2 * numValues);
    const Input input {real.data(), imag.data(), work.data(), nullptr};
    for (const Step& step : forwardOrder)
        if (step.radix != 0)
            runForwardPass(step, input);
        else
            kernels->forwardTile(
                step.isOutermost ? input.real : input.work + step.firstValue,
                step.isOutermost ? input.imag : input.work + numValues + step.firstValue,
                rotations.data() + step.rotations, tiles.data() + step.tile * tileDistance);
}

void SlicedTransform::runForward(const Step& step, const Input& first,
                                 const Input& second) const noexcept
{
    if (step.radix != 0) {
        runForwardPass(step, first);
        runForwardPass(step, second);
        return;
    }
    const auto sourceOf = [&](const Input& input) -> TileSource {
        if (step.isOutermost)
            return {input.real, input.imag, input.tile};
        const float* const real = input.work + step.firstValue;
        return {real, real + numValues, input.tile};
    };
    kernels->forwardTilePair(sourceOf(first), sourceOf(second), rotations.data() + step.rotations);
}

void SlicedTransform::runInverse(const Step& step, const Output& first,
                                 const Output& second) const noexcept
{
    if (step.radix != 0) {
        runInversePass(step, first);
        runInversePass(step, second);
        return;
    }
    const auto targetOf = [&](const Output& output) -> TileTarget {
        float* const real = output.work + step.firstValue;
        return {output.tile, real, real + numValues};
    };
    (step.isOutermost ? kernels->inverseTilePairImag : kernels->inverseTilePair)(
        targetOf(first), targetOf(second), rotations.data() + step.rotations);
}

void SlicedTransform::runForwardPass(const Step& step, const Input& input) const noexcept
{
    float* const workReal = input.work + step.firstValue;
    float* const workImag = workReal + numValues;
    kernels->forwardPass(step.radix, {.sourceReal = step.isOutermost ? input.real : workReal,
                                      .sourceImag = step.isOutermost ? input.imag : workImag,
                                      .real = workReal,
                                      .imag = workImag,
                                      .distance = step.distance,
                                      .begin = step.begin,
                                      .end = step.end,
                                      .rotations = rotations.data() + step.rotations});
}

void SlicedTransform::runInversePass(const Step& step, const Output& output) const noexcept
{
    float* const workReal = output.work + step.firstValue;
    float* const workImag = workReal + numValues;
    (step.isOutermost ? kernels->inversePassImag : kernels->inversePass)(
        step.radix, {.sourceReal = workReal,
                     .sourceImag = workImag,
                     .real = workReal,
                     .imag = workImag,
                     .distance = step.distance,
                     .begin = step.begin,
                     .end = step.end,
                     .rotations = rotations.data() + step.rotations});
}

} // namespace saddletone::dsp
