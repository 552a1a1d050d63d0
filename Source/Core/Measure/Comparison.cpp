#include "Core/Measure/Comparison.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/DirectSound.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

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

// Less is a matter of a moved head and not worth a shop's word.
constexpr double leastChangeDb = 1.0;
constexpr double mostChance = 0.01;
// Each question asked is one more occasion for chance.
constexpr double numQuestions = 3.0;

/** Chance that a normal value lies at least so many standard deviations off, to either side. */
double twoSidedChance(double sigmas)
{
    return std::erfc(std::abs(sigmas) / std::numbers::sqrt2);
}

/** Chance of at least such a sum of squares of normal values (Abramowitz and Stegun, 26.4.4 and
    26.4.5: finite sums, as the degrees of freedom are whole). */
double chiSquareChance(double chiSquare, std::size_t degreesOfFreedom)
{
    const double half = 0.5 * chiSquare;
    const bool isOdd = degreesOfFreedom % 2 == 1;
    const double firstOrder = isOdd ? 0.5 : 1.0;
    const std::size_t numTerms = (std::max<std::size_t>(degreesOfFreedom, 1) + 1) / 2 - 1;
    double chance = isOdd ? std::erfc(std::sqrt(half)) : std::exp(-half);
    double term = std::exp(-half + firstOrder * std::log(std::max(half, 1e-300)))
                  / std::tgamma(firstOrder + 1.0);
    for (std::size_t index = 0; index < numTerms; ++index) {
        chance += term;
        term *= half / (firstOrder + static_cast<double>(index) + 1.0);
    }
    return std::min(1.0, chance);
}

/** Chance that the largest of so many independent values is as rare as a chance of one (Sidak
    1967); by logarithms, as small chances would drown in 1 - chance. */
double chanceOfAny(double chanceOfOne, std::size_t count)
{
    if (chanceOfOne >= 1.0)
        return 1.0;
    return -std::expm1(static_cast<double>(count) * std::log1p(-chanceOfOne));
}

/** Standard deviations from which one band among so many makes another curve. */
double countingSigmas(std::size_t numBands)
{
    double below = 0.0;
    double above = 40.0;
    while (above - below > 1e-9) {
        const double middle = 0.5 * (below + above);
        (numQuestions * chanceOfAny(twoSidedChance(middle), numBands) > mostChance ? below
                                                                                   : above) =
            middle;
    }
    return above;
}

/** Noise adds its power to a level; where one of two measurements stands deeper in it, that looks
    like a difference. */
double noiseBiasDb(double snrDb)
{
    return dsp::powerToDb(1.0 + dsp::dbToPower(-snrDb));
}

/** Evidence from bands and the variance of each one's difference; fills in the bands' sigmas. */
CurveEvidence weighDifferences(std::vector<BandDifference>& bands,
                               const std::vector<double>& variances)
{
    CurveEvidence evidence;
    double weightSum = 0.0;
    double weighted = 0.0;
    double variance = 0.0;
    for (std::size_t index = 0; index < bands.size(); ++index) {
        if (!bands[index].trusted)
            continue;
        weightSum += 1.0 / variances[index];
        weighted += bands[index].differenceDb / variances[index];
        variance += variances[index];
        ++evidence.numBands;
    }
    if (evidence.numBands < 2)
        return evidence;
    const double shared = weighted / weightSum;
    double squares = 0.0;
    for (std::size_t index = 0; index < bands.size(); ++index) {
        BandDifference& band = bands[index];
        if (!band.trusted)
            continue;
        const double deviation = band.differenceDb - shared;
        squares += deviation * deviation;
        evidence.chiSquare += deviation * deviation / variances[index];
        // A band has its part in the shared difference, which takes away from its own spread.
        band.sigmas = deviation / std::sqrt(variances[index] - 1.0 / weightSum);
        if (std::abs(band.sigmas) > std::abs(evidence.mostSigmas)) {
            evidence.mostSigmas = band.sigmas;
            evidence.mostSigmasAtHz = band.frequencyHz;
        }
    }
    std::size_t numOctaves = 0;
    for (std::size_t middle = 1; middle + 1 < bands.size(); ++middle) {
        double octaveWeights = 0.0;
        double octaveSum = 0.0;
        bool isWhole = true;
        for (std::size_t index = middle - 1; index <= middle + 1; ++index) {
            isWhole = isWhole && bands[index].trusted;
            octaveWeights += 1.0 / variances[index];
            octaveSum += (bands[index].differenceDb - shared) / variances[index];
        }
        // Where only the octave is left there is nothing to set it against.
        const double octaveVariance = octaveWeights - octaveWeights * octaveWeights / weightSum;
        if (!isWhole || octaveVariance < 1e-9 * octaveWeights)
            continue;
        ++numOctaves;
        const double sigmas = octaveSum / std::sqrt(octaveVariance);
        if (std::abs(sigmas) > std::abs(evidence.octaveSigmas)) {
            evidence.octaveSigmas = sigmas;
            evidence.octaveAtHz = bands[middle].frequencyHz;
        }
    }
    const auto count = static_cast<double>(evidence.numBands);
    evidence.rmsDb = std::sqrt(squares / count);
    evidence.expectedRmsDb = std::sqrt(variance / count);
    evidence.degreesOfFreedom = evidence.numBands - 1;
    evidence.chanceOfAll = chiSquareChance(evidence.chiSquare, evidence.degreesOfFreedom);
    evidence.chanceOfLargest = chanceOfAny(twoSidedChance(evidence.mostSigmas), evidence.numBands);
    if (numOctaves > 0)
        evidence.chanceOfOctave = chanceOfAny(twoSidedChance(evidence.octaveSigmas), numOctaves);
    evidence.chance = std::min(1.0, numQuestions
                                        * std::min({evidence.chanceOfAll, evidence.chanceOfLargest,
                                                    evidence.chanceOfOctave}));
    return evidence;
}

/** A point of a curve; the curve is not known where it is not trusted. */
struct CurvePoint {
    double frequencyHz = 0.0;
    double levelDb = 0.0;
    double uncertaintyDb = 0.0;
    bool trusted = false;
    bool mayBePeak = true;
};

/** Where the curve, straight between points over log frequency, falls to a level on one side of a
    point. step: -1 down in frequency, +1 up. */
double fallTo(double levelDb, std::span<const CurvePoint> curve, std::size_t peak,
              std::ptrdiff_t step, bool& isOpen)
{
    std::size_t index = peak;
    for (;;) {
        const auto next = static_cast<std::size_t>(static_cast<std::ptrdiff_t>(index) + step);
        if (next >= curve.size() || !curve[next].trusted) {
            isOpen = true;
            return curve[index].frequencyHz;
        }
        if (curve[next].levelDb <= levelDb) {
            const double way =
                (curve[index].levelDb - levelDb) / (curve[index].levelDb - curve[next].levelDb);
            return curve[index].frequencyHz
                   * std::pow(curve[next].frequencyHz / curve[index].frequencyHz, way);
        }
        index = next;
    }
}

/** The highest rise of a curve above 0 dB. */
std::optional<Bump> highestRise(std::span<const CurvePoint> curve)
{
    std::size_t peak = curve.size();
    for (std::size_t index = 0; index < curve.size(); ++index)
        if (curve[index].trusted && curve[index].mayBePeak && curve[index].levelDb > 0.0
            && (peak == curve.size() || curve[index].levelDb > curve[peak].levelDb))
            peak = index;
    if (peak == curve.size())
        return std::nullopt;
    Bump bump;
    bump.heightDb = curve[peak].levelDb;
    bump.peakHz = curve[peak].frequencyHz;
    bump.uncertaintyDb = curve[peak].uncertaintyDb;
    bump.lowerHz = fallTo(0.5 * bump.heightDb, curve, peak, -1, bump.isOpen);
    bump.upperHz = fallTo(0.5 * bump.heightDb, curve, peak, +1, bump.isOpen);
    bump.centreHz = std::sqrt(bump.lowerHz * bump.upperHz);
    bump.widthOctaves = std::log2(bump.upperHz / bump.lowerHz);
    return bump;
}

std::optional<Bump> deepestDip(std::vector<CurvePoint> curve)
{
    for (CurvePoint& point : curve)
        point.levelDb = -point.levelDb;
    auto dip = highestRise(curve);
    if (dip)
        dip->heightDb = -dip->heightDb;
    return dip;
}

/** All bands, re the median of those of the range that are trusted, with peaks in the range alone;
    empty if fewer than three are trusted there. */
std::vector<CurvePoint> curveAboutMedian(const Response& response, double fromHz, double toHz)
{
    std::vector<CurvePoint> curve;
    std::vector<double> levels;
    for (const BandConfidence& band : response.bands) {
        const bool isInside = inRange(band.frequencyHz, fromHz, toHz);
        curve.push_back(
            {band.frequencyHz, band.levelDb, band.uncertaintyDb, band.trusted, isInside});
        if (band.trusted && isInside)
            levels.push_back(band.levelDb);
    }
    if (levels.size() < 3)
        return {};
    const double median = dsp::medianOf(std::move(levels));
    for (CurvePoint& point : curve)
        point.levelDb -= median;
    return curve;
}

/** The spectrum of what arrives from 5 ms before an arrival to 20 ms after it. */
std::vector<std::complex<double>> directSpectrum(const Response& response,
                                                 dsp::RealFft<double>& fft)
{
    const auto lead = static_cast<std::size_t>(0.005 * response.sampleRate);
    const auto length = lead + static_cast<std::size_t>(0.020 * response.sampleRate);
    std::ranges::fill(fft.time(), 0.0);
    for (std::size_t frame = 0; frame < length; ++frame) {
        const std::size_t position = response.arrivalFrame + frame;
        if (position >= lead && position - lead < response.impulse.size()) {
            const double edge = static_cast<double>(std::min(frame, length - 1 - frame));
            const double taper = std::min(1.0, edge / static_cast<double>(lead));
            fft.time()[frame] = static_cast<double>(response.impulse[position - lead])
                                * (0.5 - 0.5 * std::cos(std::numbers::pi * taper));
        }
    }
    fft.forward();
    return {fft.spectrum().begin(), fft.spectrum().end()};
}

/** The sign of the largest correlation of two arrivals, within 5 ms of each other. Speakers of two
    sides stand in different reflections, so only the band where these are few is asked. */
RelativePolarity correlatePolarity(const Response& left, const Response& right)
{
    if (left.impulse.empty() || right.impulse.empty() || left.sampleRate != right.sampleRate)
        return RelativePolarity::unknown;
    constexpr double bandFromHz = 100.0;
    constexpr double bandToHz = 1500.0;
    constexpr double leastCorrelation = 0.5;
    dsp::RealFft<double> fft(dsp::fastFftSize(static_cast<std::size_t>(0.06 * left.sampleRate)));
    const double binHz = left.sampleRate / static_cast<double>(fft.size());
    const auto leftSpectrum = directSpectrum(left, fft);
    const auto rightSpectrum = directSpectrum(right, fft);
    double leftEnergy = 0.0;
    double rightEnergy = 0.0;
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        const bool inBand = frequencyHz >= bandFromHz && frequencyHz <= bandToHz;
        fft.spectrum()[bin] = inBand ? std::conj(leftSpectrum[bin]) * rightSpectrum[bin] : 0.0;
        leftEnergy += inBand ? std::norm(leftSpectrum[bin]) : 0.0;
        rightEnergy += inBand ? std::norm(rightSpectrum[bin]) : 0.0;
    }
    fft.inverse();
    const auto reach = static_cast<std::size_t>(0.005 * left.sampleRate);
    double largest = 0.0;
    for (std::size_t frame = 0; frame < fft.size(); ++frame)
        if ((frame <= reach || frame + reach >= fft.size())
            && std::abs(fft.time()[frame]) > std::abs(largest))
            largest = fft.time()[frame];
    // Each bin stands for two of the whole spectrum.
    const double scale =
        2.0 * std::sqrt(leftEnergy * rightEnergy) / static_cast<double>(fft.size());
    if (!(std::abs(largest) > leastCorrelation * scale))
        return RelativePolarity::unknown;
    return largest > 0.0 ? RelativePolarity::same : RelativePolarity::reversed;
}

RelativePolarity comparePolarity(const Response& left, const Response& right)
{
    const RelativePolarity correlated = correlatePolarity(left, right);
    if (correlated != RelativePolarity::unknown || left.polarity == Polarity::unclear
        || right.polarity == Polarity::unclear)
        return correlated;
    return left.polarity == right.polarity ? RelativePolarity::same : RelativePolarity::reversed;
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
    std::vector<double> variances;
    double varianceOfLargest = 0.0;
    for (const BandConfidence& band : reference.bands) {
        const BandConfidence* match = bandAt(other, band.frequencyHz);
        if (match == nullptr)
            continue;
        BandDifference difference;
        difference.frequencyHz = band.frequencyHz;
        difference.referenceDb = band.levelDb - referenceMean;
        difference.otherDb = match->levelDb - otherMean;
        difference.differenceDb = difference.otherDb - difference.referenceDb;
        difference.uncertaintyDb = std::hypot(band.uncertaintyDb, match->uncertaintyDb);
        difference.trusted = band.trusted && match->trusted;
        const double spread =
            std::hypot(std::hypot(standardDeviationDb(band), standardDeviationDb(*match)),
                       comparison.evidence.repeatabilityDb,
                       noiseBiasDb(band.snrDb) - noiseBiasDb(match->snrDb));
        if (difference.trusted
            && std::abs(difference.differenceDb) > std::abs(comparison.largestDifferenceDb)) {
            comparison.largestDifferenceDb = difference.differenceDb;
            comparison.largestAtHz = difference.frequencyHz;
            varianceOfLargest = spread * spread;
        }
        variances.push_back(spread * spread);
        comparison.bands.push_back(difference);
    }
    comparison.evidence = weighDifferences(comparison.bands, variances);
    comparison.significant = std::abs(comparison.largestDifferenceDb) > leastChangeDb
                             && comparison.evidence.chance < mostChance;
    comparison.leastCountingDb = std::max(
        leastChangeDb, countingSigmas(std::max<std::size_t>(1, comparison.evidence.numBands))
                           * std::sqrt(varianceOfLargest));
    return comparison;
}

std::optional<Bump> largestBump(const Response& response, double fromHz, double toHz)
{
    return highestRise(curveAboutMedian(response, fromHz, toHz));
}

std::optional<Bump> largestDip(const Response& response, double fromHz, double toHz)
{
    return deepestDip(curveAboutMedian(response, fromHz, toHz));
}

std::optional<Bump> largestChange(const Comparison& comparison)
{
    std::vector<CurvePoint> curve;
    for (const BandDifference& band : comparison.bands)
        curve.push_back({band.frequencyHz, band.differenceDb, band.uncertaintyDb, band.trusted});
    return comparison.largestDifferenceDb < 0.0 ? deepestDip(std::move(curve)) : highestRise(curve);
}

SideMatch matchSides(const Response& left, const Response& right, double fromHz, double toHz)
{
    SideMatch match;
    match.fromHz = fromHz;
    match.toHz = toHz;
    double leftSum = 0.0;
    double rightSum = 0.0;
    for (const BandConfidence& band : left.bands) {
        const BandConfidence* other = bandAt(right, band.frequencyHz);
        if (other == nullptr || !inRange(band.frequencyHz, fromHz, toHz))
            continue;
        BandDifference difference;
        difference.frequencyHz = band.frequencyHz;
        difference.referenceDb = band.levelDb;
        difference.otherDb = other->levelDb;
        difference.uncertaintyDb = std::hypot(band.uncertaintyDb, other->uncertaintyDb);
        difference.trusted = band.trusted && other->trusted;
        if (difference.trusted) {
            leftSum += band.levelDb;
            rightSum += other->levelDb;
            ++match.numBands;
        }
        match.bands.push_back(difference);
    }
    match.polarity = comparePolarity(left, right);
    if (match.numBands == 0)
        return match;

    const auto count = static_cast<double>(match.numBands);
    match.levelDifferenceDb = (rightSum - leftSum) / count;
    double squares = 0.0;
    for (BandDifference& band : match.bands) {
        band.referenceDb -= leftSum / count;
        band.otherDb -= rightSum / count;
        band.differenceDb = band.otherDb - band.referenceDb;
        if (!band.trusted)
            continue;
        squares += band.differenceDb * band.differenceDb;
        if (std::abs(band.differenceDb) > std::abs(match.largestDb)) {
            match.largestDb = band.differenceDb;
            match.largestAtHz = band.frequencyHz;
        }
    }
    match.rmsDb = std::sqrt(squares / count);
    return match;
}

bool areSidesOfOne(const BikeState& one, const BikeState& other) noexcept
{
    return otherSideOf(one.speakers) == other.speakers && one.radioProfile == other.radioProfile
           && one.engine == other.engine;
}

std::optional<double> arrivalInOneRecordingMs(const Response& reference, const Response& other)
{
    if (reference.recordingChecksum.empty()
        || reference.recordingChecksum != other.recordingChecksum || !reference.trackStartSeconds
        || !other.trackStartSeconds)
        return {};
    const auto differenceMs = arrivalDifferenceMs(
        reference, other, *other.trackStartSeconds - *reference.trackStartSeconds);
    if (!differenceMs)
        return {};
    return *differenceMs;
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
