#include "Core/Ride/WindShape.h"

#include "Core/Dsp/Units.h"
#include "Core/Ride/WindModel.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::ride {

namespace {

constexpr double lowestHz = 22.0;
constexpr double fallBelowDbPerOctave = 12.0;

double shiftOctaves(double speedKmh) noexcept
{
    return std::log2(std::max(speedKmh, WindShape::lowestSpeedKmh) / WindShape::referenceSpeedKmh);
}

} // namespace

WindShape::WindShape(Helmet helmet)
{
    const auto centres = octaveCentresHz();
    const auto wantedDb = windOctaveLevelsDb(helmet);
    for (std::size_t octave = 0; octave < numOctaves; ++octave) {
        nodesLog2Hz[octave] = std::log2(centres[octave]);
        nodesDb[octave] = wantedDb[octave] - dsp::powerToDb(centres[octave] / std::numbers::sqrt2);
    }

    // Straight lines between nodes do not give the band sums exactly; a few corrections of each
    // node by its band's error do.
    constexpr int pointsPerOctave = 48;
    for (int iteration = 0; iteration < 20; ++iteration)
        for (std::size_t octave = 0; octave < numOctaves; ++octave) {
            double power = 0.0;
            for (int point = 0; point < pointsPerOctave; ++point) {
                const double exponent = (point + 0.5) / pointsPerOctave - 0.5;
                const double frequencyHz = centres[octave] * std::exp2(exponent);
                const double widthHz = frequencyHz * std::numbers::ln2 / pointsPerOctave;
                power += widthHz * dsp::dbToPower(densityDb(referenceSpeedKmh, frequencyHz));
            }
            nodesDb[octave] += 0.7 * (wantedDb[octave] - dsp::powerToDb(power));
        }
}

double WindShape::lineDb(std::size_t upperNode, double octaves) const noexcept
{
    if (upperNode == 0) {
        const double below = std::max(0.0, std::log2(lowestHz) - octaves);
        return nodesDb.front() - fallBelowDbPerOctave * below;
    }
    const double position = (octaves - nodesLog2Hz[upperNode - 1])
                            / (nodesLog2Hz[upperNode] - nodesLog2Hz[upperNode - 1]);
    return nodesDb[upperNode - 1] + position * (nodesDb[upperNode] - nodesDb[upperNode - 1]);
}

void WindShape::densitiesDb(double speedKmh, std::span<const double> log2Hz,
                            std::span<float> result) const noexcept
{
    assert(log2Hz.size() == result.size());
    const double shift = shiftOctaves(speedKmh);
    std::size_t upperNode = 0;
    for (std::size_t index = 0; index < log2Hz.size(); ++index) {
        const double octaves = log2Hz[index] - shift;
        while (upperNode + 1 < numOctaves && octaves > nodesLog2Hz[upperNode])
            ++upperNode;
        result[index] = static_cast<float>(lineDb(upperNode, octaves));
    }
}

double WindShape::densityDb(double speedKmh, double frequencyHz) const noexcept
{
    const double octaves = std::log2(frequencyHz) - shiftOctaves(speedKmh);
    std::size_t upperNode = 0;
    while (upperNode + 1 < numOctaves && octaves > nodesLog2Hz[upperNode])
        ++upperNode;
    return lineDb(upperNode, octaves);
}

} // namespace saddletone::ride
