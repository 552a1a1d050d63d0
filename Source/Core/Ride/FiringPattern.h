#pragma once

#include "Core/Dsp/Result.h"

#include <array>
#include <cstddef>
#include <span>
#include <string_view>

namespace saddletone::ride {

/** When the cylinders of a four-stroke engine fire within a cycle of two revolutions. */
struct FiringPattern {
    static constexpr std::size_t maxCylinders = 8;
    static constexpr double degreesPerCycle = 720.0;

    std::array<double, maxCylinders> anglesDegrees {0.0, 315.0}; ///< 0 to below 720, ascending.
    std::size_t numCylinders = 2;

    bool operator==(const FiringPattern&) const = default;

    [[nodiscard]] std::span<const double> angles() const noexcept
    {
        return {anglesDegrees.data(), numCylinders};
    }

    /** Weight of half-order k (frequency k rpm / 120) when all cylinders fire alike:
        |sum over n cylinders of exp(j 2 pi k angle / 720)| / n, 0 to 1. */
    [[nodiscard]] double combWeight(std::size_t halfOrder) const noexcept;
};

/** How an engine is built. */
struct CylinderLayout {
    std::size_t numCylinders = 2;  ///< 1 to 6.
    double bankDegrees = 45.0;     ///< Angle between the banks: 0 inline, 180 flat; 0 to 180.
    double pinOffsetDegrees = 0.0; ///< Between the crank pins of a pair, -360 to 360; 0 = common.

    bool operator==(const CylinderLayout&) const = default;
};

/** Cylinders in pairs, one of each bank, pairs 720 / n degrees apart; the second of a pair fires
    360 - bank + offset degrees after the first. That gives 315/405 degrees for a 45 degree twin with
    a common pin (gaps of V-twins: common practice) and even gaps for flat engines with opposed pins
    (180, 180) and inline engines with even pins (0, 0). An odd number of cylinders fires evenly and
    has to be inline. Other engines: makeFiringPattern(). Refused: what is outside the ranges. */
[[nodiscard]] dsp::Result<FiringPattern> firingPatternOf(const CylinderLayout& layout);

/** From a list of firing angles in degrees of the crank within 720, any order; 1 to 8 of them. The
    first to fire becomes 0. Angles that coincide are cylinders that fire at once. */
[[nodiscard]] dsp::Result<FiringPattern> makeFiringPattern(std::span<const double> anglesDegrees);

/** Engines that need no layout. */
enum class EnginePreset { vTwin45, parallelTwin360, boxerTwin, inlineThree, inlineFour, flatSix };

inline constexpr std::array allEnginePresets {
    EnginePreset::vTwin45,     EnginePreset::parallelTwin360, EnginePreset::boxerTwin,
    EnginePreset::inlineThree, EnginePreset::inlineFour,      EnginePreset::flatSix};

/** The word used in files and on the command line: v-twin-45, parallel-twin-360 and so on. */
[[nodiscard]] std::string_view enginePresetName(EnginePreset preset) noexcept;
[[nodiscard]] dsp::Result<EnginePreset> parseEnginePreset(std::string_view name);
[[nodiscard]] CylinderLayout cylinderLayoutOf(EnginePreset preset) noexcept;
[[nodiscard]] FiringPattern firingPatternOf(EnginePreset preset);

} // namespace saddletone::ride
