#include "Core/Ride/FiringPattern.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>
#include <vector>

namespace saddletone::ride {

namespace {

double withinCycle(double degrees)
{
    const double cycles = std::floor(degrees / FiringPattern::degreesPerCycle);
    return degrees - cycles * FiringPattern::degreesPerCycle;
}

bool isWithin(double value, double lowest, double highest)
{
    return value >= lowest && value <= highest; // false for NaN
}

} // namespace

double FiringPattern::combWeight(std::size_t halfOrder) const noexcept
{
    std::complex<double> sum;
    for (const double angle : angles())
        sum += std::polar(1.0, 2.0 * std::numbers::pi * static_cast<double>(halfOrder) * angle
                                   / degreesPerCycle);
    return std::abs(sum) / static_cast<double>(numCylinders);
}

dsp::Result<FiringPattern> firingPatternOf(const CylinderLayout& layout)
{
    if (layout.numCylinders < 1 || layout.numCylinders > 6)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "an engine layout has " + std::to_string(layout.numCylinders)
                             + " cylinders; 1 to 6 are known, give the firing angles of others");
    if (!isWithin(layout.bankDegrees, 0.0, 180.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "bank angle of an engine layout is outside 0 to 180 degrees");
    if (!isWithin(layout.pinOffsetDegrees, -360.0, 360.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "pin offset of an engine layout is outside -360 to 360 degrees");

    const double evenGap =
        FiringPattern::degreesPerCycle / static_cast<double>(layout.numCylinders);
    std::vector<double> angles;
    if (layout.numCylinders % 2 == 1) {
        if (layout.numCylinders > 1
            && (layout.bankDegrees != 0.0 || layout.pinOffsetDegrees != 0.0))
            return dsp::fail(dsp::ErrorCode::unsupported,
                             "an odd number of cylinders cannot be split into two banks; set bank "
                             "angle and pin offset to 0 or give the firing angles");
        for (std::size_t cylinder = 0; cylinder < layout.numCylinders; ++cylinder)
            angles.push_back(static_cast<double>(cylinder) * evenGap);
    } else {
        const double gap = 360.0 - layout.bankDegrees + layout.pinOffsetDegrees;
        for (std::size_t pair = 0; pair < layout.numCylinders / 2; ++pair) {
            angles.push_back(static_cast<double>(pair) * evenGap);
            angles.push_back(withinCycle(static_cast<double>(pair) * evenGap + gap));
        }
    }
    return makeFiringPattern(angles);
}

dsp::Result<FiringPattern> makeFiringPattern(std::span<const double> anglesDegrees)
{
    if (anglesDegrees.empty() || anglesDegrees.size() > FiringPattern::maxCylinders)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "a list of " + std::to_string(anglesDegrees.size())
                             + " firing angles; give 1 to "
                             + std::to_string(FiringPattern::maxCylinders));
    for (const double angle : anglesDegrees)
        if (!isWithin(angle, -FiringPattern::degreesPerCycle, FiringPattern::degreesPerCycle))
            return dsp::fail(dsp::ErrorCode::outOfRange,
                             "a firing angle is outside -720 to 720 degrees");
    FiringPattern pattern;
    pattern.numCylinders = anglesDegrees.size();
    pattern.anglesDegrees.fill(0.0);
    std::ranges::transform(anglesDegrees, pattern.anglesDegrees.begin(), withinCycle);
    const auto end =
        pattern.anglesDegrees.begin() + static_cast<std::ptrdiff_t>(anglesDegrees.size());
    std::sort(pattern.anglesDegrees.begin(), end);
    const double first = pattern.anglesDegrees.front();
    std::for_each(pattern.anglesDegrees.begin(), end, [first](double& angle) { angle -= first; });
    return pattern;
}

std::string_view enginePresetName(EnginePreset preset) noexcept
{
    switch (preset) {
    case EnginePreset::parallelTwin360: return "parallel-twin-360";
    case EnginePreset::boxerTwin: return "boxer-twin";
    case EnginePreset::inlineThree: return "inline-three";
    case EnginePreset::inlineFour: return "inline-four";
    case EnginePreset::flatSix: return "flat-six";
    case EnginePreset::vTwin45: break;
    }
    return "v-twin-45";
}

dsp::Result<EnginePreset> parseEnginePreset(std::string_view name)
{
    std::string known;
    for (const EnginePreset preset : allEnginePresets) {
        if (enginePresetName(preset) == name)
            return preset;
        known += (known.empty() ? "" : ", ") + std::string(enginePresetName(preset));
    }
    return dsp::fail(dsp::ErrorCode::malformed,
                     "engine '" + std::string(name) + "' is not known; use one of " + known);
}

CylinderLayout cylinderLayoutOf(EnginePreset preset) noexcept
{
    switch (preset) {
    case EnginePreset::parallelTwin360: return {2, 0.0, 0.0};
    case EnginePreset::boxerTwin: return {2, 180.0, 180.0};
    case EnginePreset::inlineThree: return {3, 0.0, 0.0};
    case EnginePreset::inlineFour: return {4, 0.0, 0.0};
    case EnginePreset::flatSix: return {6, 180.0, 180.0};
    case EnginePreset::vTwin45: break;
    }
    return {2, 45.0, 0.0};
}

FiringPattern firingPatternOf(EnginePreset preset)
{
    return firingPatternOf(cylinderLayoutOf(preset)).value();
}

} // namespace saddletone::ride
