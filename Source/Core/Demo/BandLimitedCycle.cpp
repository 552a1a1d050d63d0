#include "Core/Demo/BandLimitedCycle.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::demo {

namespace {

/** Slope of the glottal flow at a phase in [0, 1), scaled so that its steepest point is -1. */
double glottalFlowSlope(double phaseCycles)
{
    constexpr double openingProportion = 0.40;
    constexpr double closingProportion = 0.16;
    if (phaseCycles < openingProportion)
        return closingProportion / openingProportion
               * std::sin(std::numbers::pi * phaseCycles / openingProportion);
    if (phaseCycles < openingProportion + closingProportion)
        return -std::sin(0.5 * std::numbers::pi * (phaseCycles - openingProportion)
                         / closingProportion);
    return 0.0;
}

} // namespace

BandLimitedCycle::BandLimitedCycle(std::span<const Harmonic> harmonics, double highestFundamentalHz)
    : table(numSteps + 1)
{
    assert(highestFundamentalHz > 0.0);
    const auto affordable = static_cast<std::size_t>(programmeBandwidthHz / highestFundamentalHz);
    const std::size_t numUsed = std::min(harmonics.size(), affordable);
    for (std::size_t index = 0; index < numUsed; ++index) {
        const double step =
            dsp::twoPi * static_cast<double>(index + 1) / static_cast<double>(numSteps);
        const double stepCosine = std::cos(step);
        const double stepSine = std::sin(step);
        double cosine = 1.0;
        double sine = 0.0;
        for (std::size_t i = 0; i < numSteps; ++i) {
            table[i] += harmonics[index].cosine * cosine + harmonics[index].sine * sine;
            const double nextCosine = cosine * stepCosine - sine * stepSine;
            sine = sine * stepCosine + cosine * stepSine;
            cosine = nextCosine;
        }
    }
    table[numSteps] = table[0];
}

std::vector<Harmonic> sawtoothHarmonics(std::size_t numHarmonics)
{
    std::vector<Harmonic> harmonics(numHarmonics);
    for (std::size_t index = 0; index < numHarmonics; ++index)
        harmonics[index].sine = 1.0 / static_cast<double>(index + 1);
    return harmonics;
}

std::vector<Harmonic> reedHarmonics(std::size_t numHarmonics)
{
    std::vector<Harmonic> harmonics = sawtoothHarmonics(numHarmonics);
    for (std::size_t index = 1; index < numHarmonics; index += 2)
        harmonics[index].sine /= 3.0;
    return harmonics;
}

std::vector<Harmonic> glottalHarmonics(std::size_t numHarmonics)
{
    // Sixteen points a cycle of the highest harmonic keep the folding of a 1/h spectrum small.
    const std::size_t numPoints = 16 * numHarmonics;
    std::vector<Harmonic> harmonics(numHarmonics);
    for (std::size_t point = 0; point < numPoints; ++point) {
        const double phaseCycles = static_cast<double>(point) / static_cast<double>(numPoints);
        const double slope = glottalFlowSlope(phaseCycles);
        if (slope == 0.0)
            continue;
        const double weight = 2.0 * slope / static_cast<double>(numPoints);
        for (std::size_t index = 0; index < numHarmonics; ++index) {
            const double angle = dsp::twoPi * static_cast<double>(index + 1) * phaseCycles;
            harmonics[index].cosine += weight * std::cos(angle);
            harmonics[index].sine += weight * std::sin(angle);
        }
    }
    return harmonics;
}

} // namespace saddletone::demo
