#include "Core/Measure/Comparison.h"

#include <algorithm>
#include <cmath>

namespace saddletone::measure {

namespace {

constexpr double middleFromHz = 500.0;
constexpr double middleToHz = 2000.0;
// A band belongs to a range if its nominal frequency does; exact centres differ from it by 1 %.
constexpr double nominalTolerance = 1.011;

bool inRange(double frequencyHz, double fromHz, double toHz)
{
    return frequencyHz * nominalTolerance >= fromHz && frequencyHz <= toHz * nominalTolerance;
}

} // namespace

double meanBandLevelDb(const Response& response, double fromHz, double toHz)
{
    double sum = 0.0;
    std::size_t count = 0;
    for (const BandConfidence& band : response.bands)
        if (band.trusted && inRange(band.frequencyHz, fromHz, toHz)) {
            sum += band.levelDb;
            ++count;
        }
    return count == 0 ? 0.0 : sum / static_cast<double>(count);
}

Comparison compareResponses(const Response& reference, const Response& other)
{
    const double referenceMean = meanBandLevelDb(reference, middleFromHz, middleToHz);
    const double otherMean = meanBandLevelDb(other, middleFromHz, middleToHz);
    Comparison comparison;
    comparison.levelDifferenceDb = otherMean - referenceMean;
    double uncertaintyOfLargest = 0.0;
    for (const BandConfidence& band : reference.bands) {
        const auto match = std::ranges::find_if(other.bands, [&](const BandConfidence& candidate) {
            return std::abs(candidate.frequencyHz / band.frequencyHz - 1.0) < 1e-3;
        });
        if (match == other.bands.end())
            continue;
        BandDifference difference;
        difference.frequencyHz = band.frequencyHz;
        difference.referenceDb = band.levelDb - referenceMean;
        difference.otherDb = match->levelDb - otherMean;
        difference.differenceDb = difference.otherDb - difference.referenceDb;
        difference.uncertaintyDb = std::hypot(band.uncertaintyDb, match->uncertaintyDb);
        difference.trusted = band.trusted && match->trusted;
        if (difference.trusted
            && std::abs(difference.differenceDb) > std::abs(comparison.largestDifferenceDb)) {
            comparison.largestDifferenceDb = difference.differenceDb;
            comparison.largestAtHz = difference.frequencyHz;
            uncertaintyOfLargest = difference.uncertaintyDb;
        }
        comparison.bands.push_back(difference);
    }
    comparison.significant =
        std::abs(comparison.largestDifferenceDb) > std::max(1.0, 3.0 * uncertaintyOfLargest);
    return comparison;
}

Flatness flatnessOf(const Response& response, double fromHz, double toHz)
{
    Flatness flatness;
    flatness.fromHz = fromHz;
    flatness.toHz = toHz;
    const double mean = meanBandLevelDb(response, fromHz, toHz);
    double squares = 0.0;
    for (const BandConfidence& band : response.bands) {
        if (!band.trusted || !inRange(band.frequencyHz, fromHz, toHz))
            continue;
        const double deviation = band.levelDb - mean;
        squares += deviation * deviation;
        ++flatness.numBands;
        if (std::abs(deviation) > std::abs(flatness.largestDb)) {
            flatness.largestDb = deviation;
            flatness.largestAtHz = band.frequencyHz;
        }
    }
    if (flatness.numBands > 0)
        flatness.rmsDb = std::sqrt(squares / static_cast<double>(flatness.numBands));
    return flatness;
}

} // namespace saddletone::measure
