#include "Core/Tuning/FitProblem.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>
#include <utility>

namespace saddletone::tuning {

namespace {

/** Cost of a decibel beyond a limit at one frequency. Large enough that a search ends a few
    hundredths of a decibel beyond, small enough that the limit is no wall to it. */
constexpr double excessCost = 4.0;

constexpr double lowestPeakHz = 10.0;
constexpr double highestPeakHz = 24000.0;
constexpr double peakStepsPerOctave = 48.0;

/** Sum of products; eight sums side by side, in a fixed order. */
double dot(const double* a, const double* b, std::size_t size)
{
    std::array<double, 8> sums {};
    std::size_t at = 0;
    for (; at + 8 <= size; at += 8)
        for (std::size_t lane = 0; lane < 8; ++lane)
            sums[lane] += a[at + lane] * b[at + lane];
    for (; at < size; ++at)
        sums[0] += a[at] * b[at];
    return ((sums[0] + sums[1]) + (sums[2] + sums[3]))
           + ((sums[4] + sums[5]) + (sums[6] + sums[7]));
}

std::vector<double> levelsOf(std::span<const double> powers)
{
    std::vector<double> levels(powers.size());
    std::ranges::transform(powers, levels.begin(),
                           [](double power) { return dsp::powerToDb(power); });
    return levels;
}

struct Place {
    double frequencyHz = 0.0;
    double levelDb = 0.0;
};

/** Frequencies at which a sum of filters is looked at for its highest places. */
std::vector<double> fineGridHz()
{
    std::vector<double> frequenciesHz;
    const auto numSteps =
        static_cast<int>(std::ceil(peakStepsPerOctave * std::log2(highestPeakHz / lowestPeakHz)));
    for (int step = 0; step <= numSteps; ++step)
        frequenciesHz.push_back(lowestPeakHz * std::exp2(step / peakStepsPerOctave));
    return frequenciesHz;
}

/** Where the level of filters above a limit has its local maxima. limitsDb: at each frequency of
    the grid; limitDbAt: the same anywhere. */
template <typename Limit>
std::vector<Place> highestPlaces(std::span<const FitFilter> filters,
                                 std::span<const double> frequenciesHz,
                                 std::span<const double> limitsDb, const Limit& limitDbAt)
{
    const std::size_t size = frequenciesHz.size();
    std::vector<double> squaredHz(size);
    std::ranges::transform(frequenciesHz, squaredHz.begin(), [](double hz) { return hz * hz; });
    std::vector<double> powers(size, 1.0);
    for (const FitFilter& filter : filters)
        multiplyPowers(filter, squaredHz, powers);
    const std::vector<double> levels = levelsOf(powers);
    std::vector<double> above(size);
    std::ranges::transform(levels, limitsDb, above.begin(), std::minus());
    const double highest = *std::ranges::max_element(above);

    const auto aboveAt = [&](double logHz) {
        return filtersLevelDb(filters, std::exp(logHz)) - limitDbAt(std::exp(logHz));
    };
    /** Golden section around a place. */
    const auto closerTo = [&](const Place& place, double placeAbove) {
        constexpr double golden = 0.6180339887498949;
        const double step = std::numbers::ln2 / peakStepsPerOctave;
        double lower = std::max(std::log(place.frequencyHz) - step, std::log(lowestPeakHz));
        double upper = std::min(std::log(place.frequencyHz) + step, std::log(highestPeakHz));
        double left = upper - golden * (upper - lower);
        double right = lower + golden * (upper - lower);
        double aboveLeft = aboveAt(left);
        double aboveRight = aboveAt(right);
        for (int round = 0; round < 20; ++round)
            if (aboveLeft >= aboveRight) {
                upper = right;
                right = std::exchange(left, upper - golden * (upper - lower));
                aboveRight = std::exchange(aboveLeft, aboveAt(left));
            } else {
                lower = left;
                left = std::exchange(right, lower + golden * (upper - lower));
                aboveLeft = std::exchange(aboveRight, aboveAt(right));
            }
        if (std::max(aboveLeft, aboveRight) <= placeAbove)
            return place;
        const double closerHz = std::exp(aboveLeft >= aboveRight ? left : right);
        return Place {closerHz, filtersLevelDb(filters, closerHz)};
    };
    std::vector<Place> places;
    for (std::size_t at = 0; at < size; ++at) {
        const bool isHighest = (at == 0 || above[at] > above[at - 1])
                               && (at + 1 == size || above[at] >= above[at + 1]);
        if (!isHighest)
            continue;
        const Place place {frequenciesHz[at], levels[at]};
        // Between two of the grid's frequencies a filter up to denseQ rises by less than 0.5 dB, so
        // that places below this cannot become the highest nor pass the limit.
        constexpr double riseDb = 1.0;
        places.push_back(above[at] < std::min(highest, 0.0) - riseDb ? place
                                                                     : closerTo(place, above[at]));
    }
    // A sharper boost may stand between the grid's frequencies.
    for (const FitFilter& filter : filters) {
        constexpr double denseQ = 6.0;
        if (filter.gainDb <= 0.0 || std::exp(filter.logQ) <= denseQ)
            continue;
        const double frequencyHz = std::exp(filter.logHz);
        places.push_back(
            closerTo({frequencyHz, filtersLevelDb(filters, frequencyHz)}, aboveAt(filter.logHz)));
    }
    return places;
}

} // namespace

double largestBoostDb(std::span<const FitFilter> filters)
{
    const std::vector<double> gridHz = fineGridHz();
    const std::vector<double> limitsDb(gridHz.size(), 0.0);
    double largest = 0.0;
    for (const Place& place :
         highestPlaces(filters, gridHz, limitsDb, [](double /*frequencyHz*/) { return 0.0; }))
        largest = std::max(largest, place.levelDb);
    return largest;
}

BoostCeiling::BoostCeiling(std::span<const FitCurve> curves, double headroomDb, double maxLossDb)
    : headroom(headroomDb), maxLoss(maxLossDb)
{
    const auto bands = dsp::thirdOctaveBands();
    lowestHz = bands.front().lowerHz;
    highestHz = bands.back().upperHz;
    for (const dsp::Band& band : bands) {
        const bool isTrusted = std::ranges::any_of(curves, [&](const FitCurve& curve) {
            return std::ranges::find(curve.untrustedBands, band) == curve.untrustedBands.end();
        });
        if (!isTrusted)
            continue;
        if (!ranges.empty() && band.lowerHz < 1.01 * ranges.back().upperHz)
            ranges.back().upperHz = band.upperHz;
        else
            ranges.push_back(band);
    }
}

double BoostCeiling::octavesFromTrusted(double frequencyHz) const
{
    const double audibleHz = std::clamp(frequencyHz, lowestHz, highestHz);
    double octaves = std::numeric_limits<double>::infinity();
    for (const dsp::Band& range : ranges)
        octaves = std::min(octaves, std::log2(std::max({range.lowerHz / audibleHz,
                                                        audibleHz / range.upperHz, 1.0})));
    return octaves;
}

bool BoostCeiling::isTrustedAt(double frequencyHz) const
{
    return octavesFromTrusted(frequencyHz) <= 0.0;
}

double BoostCeiling::boostDbAt(double frequencyHz) const
{
    return std::max(std::min(headroom, untrustedBoostDb),
                    headroom - untrustedSlopeDbPerOctave * octavesFromTrusted(frequencyHz));
}

double filtersLevelDb(std::span<const FitFilter> filters, double frequencyHz)
{
    const std::array<double, 1> squaredHz {frequencyHz * frequencyHz};
    std::array<double, 1> power {1.0};
    for (const FitFilter& filter : filters)
        multiplyPowers(filter, squaredHz, power);
    return dsp::powerToDb(power[0]);
}

FitProblem::FitProblem(std::span<const FitCurve> fitCurves, const BoostCeiling& ceiling)
    : limit(ceiling)
{
    const auto makeUnique = [](std::vector<double>& values) {
        std::ranges::sort(values);
        values.erase(std::unique(values.begin(), values.end()), values.end());
    };
    std::vector<double> weightedHz;
    for (const FitCurve& curve : fitCurves)
        for (const FitPoint& point : curve.points)
            if (point.weight > 0.0)
                weightedHz.push_back(point.frequencyHz);
    makeUnique(weightedHz);
    numWeighted = weightedHz.size();
    // Where only the ceiling is looked at: beyond the curves, and in their gaps.
    std::vector<double> frequenciesHz = weightedHz;
    for (const dsp::Band& band : dsp::octaveBands(12, 16.0, 22000.0))
        if (!std::ranges::binary_search(weightedHz, band.centreHz))
            frequenciesHz.push_back(band.centreHz);

    for (const double frequencyHz : frequenciesHz) {
        squares.push_back(frequencyHz * frequencyHz);
        boostDb.push_back(limit.boostDbAt(frequencyHz));
    }
    gridHz = fineGridHz();
    for (const double frequencyHz : gridHz)
        gridBoostDb.push_back(limit.boostDbAt(frequencyHz));
    weight.assign(squares.size(), 0.0);
    for (const FitCurve& fitCurve : fitCurves) {
        Curve curve {std::vector<double>(squares.size(), 0.0),
                     std::vector<double>(squares.size(), 0.0)};
        double sum = 0.0;
        for (const FitPoint& point : fitCurve.points)
            sum += point.weight;
        for (const FitPoint& point : fitCurve.points) {
            if (point.weight <= 0.0)
                continue;
            const auto at = static_cast<std::size_t>(
                std::ranges::lower_bound(weightedHz, point.frequencyHz) - weightedHz.begin());
            curve.levelDb[at] = point.levelDb - point.targetDb;
            curve.share[at] = point.weight / sum;
            weight[at] += curve.share[at] / static_cast<double>(fitCurves.size());
        }
        curves.push_back(std::move(curve));
    }
}

FitProblem::Sums FitProblem::addUp(std::span<const double> changeDb, Excess excess) const
{
    const std::size_t size = changeDb.size();
    const double perCurve = 1.0 / static_cast<double>(curves.size());
    Sums sums;
    sums.slope.assign(size, 0.0);
    sums.curvature.assign(weight.begin(), weight.begin() + static_cast<std::ptrdiff_t>(size));
    for (const Curve& curve : curves) {
        double mean = 0.0;
        for (std::size_t at = 0; at < size; ++at)
            mean += curve.share[at] * (curve.levelDb[at] + changeDb[at]);
        for (std::size_t at = 0; at < size; ++at) {
            const double deviation = curve.levelDb[at] + changeDb[at] - mean;
            const double weighted = perCurve * curve.share[at] * deviation;
            sums.slope[at] += weighted;
            sums.cost += weighted * deviation;
        }
    }
    if (excess == Excess::ignored)
        return sums;

    const double mean = dot(weight.data(), changeDb.data(), size);
    const double highest = mean + limit.maxLossDb();
    sums.lossCurvature.assign(size, 0.0);
    double lossSlope = 0.0;
    for (std::size_t at = 0; at < size; ++at) {
        if (const double above = changeDb[at] - boostDb[at]; above > 0.0) {
            sums.cost += excessCost * above * above;
            sums.slope[at] += excessCost * above;
            sums.curvature[at] += excessCost;
        }
        if (const double above = changeDb[at] - highest; above > 0.0) {
            sums.cost += excessCost * above * above;
            sums.slope[at] += excessCost * above;
            lossSlope += excessCost * above;
            sums.curvature[at] += excessCost;
            sums.lossCurvature[at] = excessCost;
            sums.lossSum += excessCost;
        }
    }
    if (highest < 0.0) {
        sums.cost += excessCost * highest * highest;
        lossSlope -= excessCost * highest;
        sums.lossSum += excessCost;
    }
    for (std::size_t at = 0; at < size; ++at)
        sums.slope[at] -= lossSlope * weight[at];
    return sums;
}

double FitProblem::cost(std::span<const FitFilter> filters, Excess excess) const
{
    return addUp(changeDb(filters, usedSize(excess)), excess).cost;
}

double FitProblem::cost(std::span<const FitFilter> filters, Excess excess, Slopes& slopes) const
{
    const std::size_t size = usedSize(excess);
    const auto used = squaredHz().first(size);
    const std::size_t numNumbers = numFilterNumbers * filters.size();
    slopes.levels.resize(numNumbers * size);
    slopes.gradient.resize(numNumbers);
    slopes.curvature.resize(numNumbers * numNumbers);
    const auto row = [&](std::size_t number) {
        return std::span<double>(slopes.levels).subspan(number * size, size);
    };
    std::vector<double> powers(size, 1.0);
    for (std::size_t filter = 0; filter < filters.size(); ++filter)
        multiplyPowers(filters[filter], used, powers, row(numFilterNumbers * filter),
                       row(numFilterNumbers * filter + 1), row(numFilterNumbers * filter + 2));
    const Sums sums = addUp(levelsOf(powers), excess);

    // The free level takes out of every slope its mean over each curve, the limit of the loss the
    // mean over all.
    std::vector<double> means(curves.size() * numNumbers);
    std::vector<double> overallMeans(numNumbers);
    std::vector<double> lossSlopes(numNumbers, 0.0);
    for (std::size_t number = 0; number < numNumbers; ++number) {
        const double* own = row(number).data();
        for (std::size_t curve = 0; curve < curves.size(); ++curve)
            means[curve * numNumbers + number] = dot(curves[curve].share.data(), own, size);
        overallMeans[number] = dot(weight.data(), own, size);
        if (sums.lossSum > 0.0)
            lossSlopes[number] = dot(sums.lossCurvature.data(), own, size);
    }
    const double perCurve = 1.0 / static_cast<double>(curves.size());
    std::vector<double> weighted(size);
    for (std::size_t number = 0; number < numNumbers; ++number) {
        const auto own = row(number);
        slopes.gradient[number] = 2.0 * dot(sums.slope.data(), own.data(), size);
        for (std::size_t at = 0; at < size; ++at)
            weighted[at] = sums.curvature[at] * own[at];
        for (std::size_t other = 0; other <= number; ++other) {
            double sum = dot(weighted.data(), row(other).data(), size);
            for (std::size_t curve = 0; curve < curves.size(); ++curve)
                sum -= perCurve * means[curve * numNumbers + number]
                       * means[curve * numNumbers + other];
            sum += sums.lossSum * overallMeans[number] * overallMeans[other]
                   - overallMeans[number] * lossSlopes[other]
                   - lossSlopes[number] * overallMeans[other];
            slopes.curvature[number * numNumbers + other] = 2.0 * sum;
        }
    }
    return sums.cost;
}

double FitProblem::meanDb(std::span<const FitFilter> filters) const
{
    return dot(weight.data(), changeDb(filters, numWeighted).data(), numWeighted);
}

double FitProblem::meanDb(std::span<const FitFilter> filters, std::span<double> gradient) const
{
    const std::size_t size = numWeighted;
    const auto used = squaredHz().first(size);
    std::vector<double> powers(size, 1.0);
    std::vector<double> levels(numFilterNumbers * size);
    const auto row = [&](std::size_t number) {
        return std::span<double>(levels).subspan(number * size, size);
    };
    for (std::size_t filter = 0; filter < filters.size(); ++filter) {
        multiplyPowers(filters[filter], used, powers, row(0), row(1), row(2));
        for (std::size_t kind = 0; kind < numFilterNumbers; ++kind)
            gradient[numFilterNumbers * filter + kind] = dot(weight.data(), row(kind).data(), size);
    }
    return dot(weight.data(), levelsOf(powers).data(), size);
}

std::vector<BoostPeak> FitProblem::boostPeaks(std::span<const FitFilter> filters) const
{
    const double highest = meanDb(filters) + limit.maxLossDb();
    std::vector<double> limitsDb = gridBoostDb;
    for (double& limitDb : limitsDb)
        limitDb = std::min(limitDb, highest);
    const auto limitDbAt = [&](double frequencyHz) {
        return std::min(limit.boostDbAt(frequencyHz), highest);
    };
    std::vector<BoostPeak> peaks;
    for (const Place& place : highestPlaces(filters, gridHz, limitsDb, limitDbAt))
        peaks.push_back({place.frequencyHz, place.levelDb,
                         place.levelDb - limitDbAt(place.frequencyHz),
                         highest < limit.boostDbAt(place.frequencyHz)});
    return peaks;
}

double FitProblem::excessDb(std::span<const FitFilter> filters) const
{
    double excess = -meanDb(filters) - limit.maxLossDb();
    for (const BoostPeak& peak : boostPeaks(filters))
        excess = std::max(excess, peak.excessDb);
    return excess;
}

std::vector<double> FitProblem::changeDb(std::span<const FitFilter> filters, std::size_t size) const
{
    std::vector<double> powers(size, 1.0);
    for (const FitFilter& filter : filters)
        multiplyPowers(filter, squaredHz().first(size), powers);
    return levelsOf(powers);
}

std::vector<double> FitProblem::weightedDeviationsDb(std::span<const FitFilter> filters) const
{
    return addUp(changeDb(filters, numWeighted), Excess::ignored).slope;
}

} // namespace saddletone::tuning
