#include "Core/Tuning/FitCurve.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstddef>

namespace saddletone::tuning {

namespace {

constexpr int pointsPerOctave = 12;
/** The least that a fit can be made of: an octave. */
constexpr std::size_t leastPoints = 12;
/** Depth below the smoothed curve that makes a dip worth a look; judgement. */
constexpr double leastDipDb = 2.0;
constexpr double widestDipOctaves = 1.0 / 3.0;

bool isTrustedAt(const measure::Response& response, const dsp::Band& thirdOctave)
{
    return std::ranges::any_of(response.bands, [&](const measure::BandConfidence& band) {
        return band.trusted && band.frequencyHz >= thirdOctave.lowerHz
               && band.frequencyHz < thirdOctave.upperHz;
    });
}

bool holds(const dsp::Band& band, double frequencyHz)
{
    return frequencyHz >= band.lowerHz && frequencyHz < band.upperHz;
}

/** Steps from the deepest point, in one direction, to where the dip has half its depth. */
double halfWidthSteps(std::span<const double> belowDb, std::size_t deepest, std::ptrdiff_t step)
{
    const double halfDb = 0.5 * belowDb[deepest];
    double steps = 0.0;
    for (auto at = static_cast<std::ptrdiff_t>(deepest);; at += step) {
        const std::ptrdiff_t next = at + step;
        if (next < 0 || next >= static_cast<std::ptrdiff_t>(belowDb.size()))
            return steps + 0.5; // the edge of the last twelfth
        const double here = belowDb[static_cast<std::size_t>(at)];
        const double there = belowDb[static_cast<std::size_t>(next)];
        if (there < halfDb)
            return steps + (here - halfDb) / (here - there);
        steps += 1.0;
    }
}

/** A dip lies below what is on both sides of it; the foot of a narrow peak only below the smoothed
    curve. */
bool isBelowBothSides(std::span<const FitPoint> points, std::size_t at)
{
    constexpr std::size_t reach = pointsPerOctave / 3;
    const auto risesWithin = [&](std::size_t first, std::size_t last) {
        return std::any_of(
            points.begin() + static_cast<std::ptrdiff_t>(first),
            points.begin() + static_cast<std::ptrdiff_t>(last),
            [&](const FitPoint& point) { return point.levelDb > points[at].levelDb + leastDipDb; });
    };
    return risesWithin(at > reach ? at - reach : 0, at)
           && risesWithin(at + 1, std::min(at + 1 + reach, points.size()));
}

/** Replaces narrow dips by what is beside them and lowers their weight. */
void closeNarrowDips(FitCurve& curve, std::span<const double> smoothDb)
{
    const std::size_t size = curve.points.size();
    std::vector<double> belowDb(size);
    for (std::size_t point = 0; point < size; ++point)
        belowDb[point] = smoothDb[point] - curve.points[point].levelDb;
    std::vector<bool> isInDip(size, false);
    for (std::size_t point = 0; point < size; ++point) {
        const bool isDeepest = (point == 0 || belowDb[point] > belowDb[point - 1])
                               && (point + 1 == size || belowDb[point] >= belowDb[point + 1]);
        if (!isDeepest || belowDb[point] <= leastDipDb || !isBelowBothSides(curve.points, point))
            continue;
        const double widthOctaves =
            (halfWidthSteps(belowDb, point, -1) + halfWidthSteps(belowDb, point, 1))
            / pointsPerOctave;
        if (widthOctaves >= widestDipOctaves)
            continue;
        std::size_t first = point;
        while (first > 0 && belowDb[first - 1] > 0.0)
            --first;
        std::size_t last = point;
        while (last + 1 < size && belowDb[last + 1] > 0.0)
            ++last;
        std::fill(isInDip.begin() + static_cast<std::ptrdiff_t>(first),
                  isInDip.begin() + static_cast<std::ptrdiff_t>(last) + 1, true);
        if (curve.points[point].weight > 0.0)
            curve.narrowDips.push_back({curve.points[point].frequencyHz, belowDb[point]});
    }

    // The smoothed curve itself sags in a dip, so its level is taken without the dip's points.
    std::vector<FitPoint> closed = curve.points;
    for (std::size_t point = 0; point < size; ++point) {
        if (!isInDip[point])
            continue;
        double power = 0.0;
        double num = 0.0;
        constexpr std::size_t reach = pointsPerOctave / 3;
        const std::size_t last = std::min(point + reach, size - 1);
        for (std::size_t other = point > reach ? point - reach : 0; other <= last; ++other)
            if (!isInDip[other]) {
                power += dsp::dbToPower(curve.points[other].levelDb);
                num += 1.0;
            }
        closed[point].levelDb = num > 0.0 ? dsp::powerToDb(power / num) : smoothDb[point];
        closed[point].weight *= narrowDipWeight;
    }
    curve.points = std::move(closed);
}

std::string hertz(double frequencyHz)
{
    return files::fixedText(frequencyHz, frequencyHz < 100.0 ? 1 : 0) + " Hz";
}

/** Neighbouring bands as words: "40.0 Hz to 63.1 Hz, 12589 Hz to 15849 Hz". */
std::string bandWords(std::span<const dsp::Band> bands)
{
    std::string words;
    for (std::size_t band = 0; band < bands.size();) {
        std::size_t last = band;
        while (last + 1 < bands.size() && bands[last + 1].lowerHz < 1.01 * bands[last].upperHz)
            ++last;
        words += (words.empty() ? "" : ", ") + hertz(bands[band].lowerHz) + " to "
                 + hertz(bands[last].upperHz);
        band = last + 1;
    }
    return words;
}

void addRemarks(FitCurve& curve, const FitTarget& target, const FitRange& range)
{
    std::vector<dsp::Band> untrusted;
    std::vector<dsp::Band> unknown;
    const auto isInRange = [&](const dsp::Band& band) {
        return std::ranges::any_of(
            curve.points, [&](const FitPoint& point) { return holds(band, point.frequencyHz); });
    };
    std::ranges::copy_if(curve.untrustedBands, std::back_inserter(untrusted), isInRange);
    std::ranges::copy_if(target.unknownBands, std::back_inserter(unknown), isInRange);
    if (!untrusted.empty())
        curve.remarks.push_back("'" + curve.name
                                + "': left out, as the measurement is not trusted "
                                  "there: "
                                + bandWords(untrusted) + ".");
    if (!unknown.empty())
        curve.remarks.push_back("'" + curve.name + "': left out, as target '" + target.name
                                + "' was not trusted there: " + bandWords(unknown) + ".");
    if (curve.points.back().frequencyHz * 1.1 < range.toHz)
        curve.remarks.push_back("'" + curve.name + "': its sample rate ends the comparison at "
                                + hertz(curve.points.back().frequencyHz) + ".");
    if (!curve.narrowDips.empty()) {
        std::string words;
        for (const NarrowDip& dip : curve.narrowDips)
            words += (words.empty() ? "" : ", ") + hertz(dip.frequencyHz) + " ("
                     + files::fixedText(dip.depthDb, 1) + " dB)";
        curve.remarks.push_back("'" + curve.name
                                + "': narrow dips that no filter should fill, as they move with "
                                  "the head: "
                                + words + ".");
    }
}

} // namespace

dsp::Result<FitCurve> makeFitCurve(const measure::Response& response, const FitTarget& target,
                                   const FitRange& range)
{
    FitCurve curve;
    curve.name = response.name;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        if (!isTrustedAt(response, band))
            curve.untrustedBands.push_back(band);

    std::vector<double> frequenciesHz;
    for (const dsp::Band& twelfth :
         dsp::octaveBands(pointsPerOctave, range.fromHz, std::max(range.fromHz, range.toHz)))
        if (twelfth.upperHz < 0.5 * response.sampleRate)
            frequenciesHz.push_back(twelfth.centreHz);
    const std::vector<double> levelsDb = response.magnitudeDb(frequenciesHz, pointsPerOctave);
    std::size_t numUsed = 0;
    for (std::size_t point = 0; point < frequenciesHz.size(); ++point) {
        const double frequencyHz = frequenciesHz[point];
        const bool isUsed =
            target.isKnownAt(frequencyHz)
            && std::ranges::none_of(curve.untrustedBands, [&](const dsp::Band& band) {
                   return holds(band, frequencyHz);
               });
        numUsed += isUsed ? 1 : 0;
        curve.points.push_back(
            {frequencyHz, levelsDb[point], target.levelDbAt(frequencyHz), isUsed ? 1.0 : 0.0});
    }
    if (numUsed < leastPoints)
        return dsp::fail(dsp::ErrorCode::notTrustworthy,
                         "response '" + response.name + "' holds less than an octave between "
                             + hertz(range.fromHz) + " and " + hertz(range.toHz)
                             + " where it is trusted and target '" + target.name
                             + "' is known; widen the range, or measure again, louder or in less "
                               "noise");
    closeNarrowDips(curve, response.magnitudeDb(frequenciesHz, 3));
    addRemarks(curve, target, range);
    return curve;
}

double noChangeDb(double /*frequencyHz*/) noexcept
{
    return 0.0;
}

LevelDbAt levelDbOf(const Tuning& tuning, OutputGroup output)
{
    return [tuning, output](double frequencyHz) {
        return dsp::amplitudeToDb(std::abs(idealResponse(tuning, output, frequencyHz)));
    };
}

std::vector<double> changeDbAt(const FitCurve& curve, const LevelDbAt& change)
{
    std::vector<double> levelsDb;
    levelsDb.reserve(curve.points.size());
    for (const FitPoint& point : curve.points)
        levelsDb.push_back(change(point.frequencyHz));
    return levelsDb;
}

std::vector<double> deviationsDb(const FitCurve& curve, std::span<const double> changeDb)
{
    assert(changeDb.size() == curve.points.size());
    std::vector<double> deviations(curve.points.size());
    double sum = 0.0;
    double sumOfWeights = 0.0;
    for (std::size_t at = 0; at < deviations.size(); ++at) {
        const FitPoint& point = curve.points[at];
        deviations[at] = point.levelDb + changeDb[at] - point.targetDb;
        sum += point.weight * deviations[at];
        sumOfWeights += point.weight;
    }
    for (double& deviation : deviations)
        deviation -= sum / sumOfWeights;
    return deviations;
}

double curveErrorDb(const FitCurve& curve, std::span<const double> changeDb)
{
    const std::vector<double> deviations = deviationsDb(curve, changeDb);
    double sum = 0.0;
    double sumOfWeights = 0.0;
    for (std::size_t at = 0; at < deviations.size(); ++at) {
        sum += curve.points[at].weight * deviations[at] * deviations[at];
        sumOfWeights += curve.points[at].weight;
    }
    return std::sqrt(sum / sumOfWeights);
}

double fitErrorDb(std::span<const FitCurve> curves, const LevelDbAt& change)
{
    assert(!curves.empty());
    double sum = 0.0;
    for (const FitCurve& curve : curves) {
        const double errorDb = curveErrorDb(curve, changeDbAt(curve, change));
        sum += errorDb * errorDb;
    }
    return std::sqrt(sum / static_cast<double>(curves.size()));
}

std::vector<BandDeviation> bandDeviations(const FitCurve& curve, const LevelDbAt& change)
{
    const std::vector<double> deviations = deviationsDb(curve, changeDbAt(curve, change));
    std::vector<BandDeviation> bands;
    for (const dsp::Band& band : dsp::thirdOctaveBands()) {
        double sum = 0.0;
        double sumOfWeights = 0.0;
        for (std::size_t at = 0; at < deviations.size(); ++at)
            if (holds(band, curve.points[at].frequencyHz)) {
                sum += curve.points[at].weight * deviations[at];
                sumOfWeights += curve.points[at].weight;
            }
        if (sumOfWeights > 0.0)
            bands.push_back({band.centreHz, sum / sumOfWeights, 0});
    }
    return bands;
}

BandDeviation largestDeviation(std::span<const FitCurve> curves, const LevelDbAt& change)
{
    BandDeviation largest;
    for (std::size_t curve = 0; curve < curves.size(); ++curve)
        for (BandDeviation band : bandDeviations(curves[curve], change))
            if (largest.frequencyHz == 0.0
                || std::abs(band.deviationDb) > std::abs(largest.deviationDb)) {
                largest = band;
                largest.curve = curve;
            }
    return largest;
}

} // namespace saddletone::tuning
