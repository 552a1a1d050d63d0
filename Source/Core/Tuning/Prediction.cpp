#include "Core/Tuning/Prediction.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Comparison.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

namespace saddletone::tuning {

namespace {

using files::fixedText;

// Room for filters to ring out, and behind it for what a sharp bend near half the sample rate
// throws around the end of the transform.
constexpr double ringSeconds = 4.0;
constexpr double guardSeconds = 0.25;
constexpr double longestSeconds = 10.0; // of a response
constexpr double tailDb = -100.0;       // of the energy: below what 24 bits of a take can hold

constexpr double confidence = 0.95;
constexpr std::size_t leastBands = 6;
// A band belongs to a range if its nominal frequency does; exact centres differ from it by 1 %.
constexpr double nominalTolerance = 1.011;

/** What delays and polarity of a tuning do to an output. */
struct TimeChange {
    double delayMs = 0.0;
    bool isInverted = false;
};

TimeChange timeChange(const Tuning& tuning, OutputGroup output)
{
    TimeChange change;
    for (const Chain& chain : tuning.chains) {
        if (!covers(chain.group, output))
            continue;
        for (const Element& element : chain.elements) {
            if (element.type == ElementType::delay)
                change.delayMs += element.delayMs;
            else if (element.type == ElementType::polarity)
                change.isInverted = !change.isInverted;
        }
    }
    return change;
}

std::vector<double> powers(std::span<const std::complex<double>> spectrum)
{
    std::vector<double> result;
    result.reserve(spectrum.size());
    for (const auto& value : spectrum)
        result.push_back(std::norm(value));
    return result;
}

/** Frames from the start that hold all but a share of tailDb of the energy, at least so many. */
std::size_t framesWithEnergy(std::span<const double> impulse, std::size_t least)
{
    double total = 0.0;
    for (const double sample : impulse)
        total += sample * sample;
    const double most = total * dsp::dbToPower(tailDb);
    double tail = 0.0;
    std::size_t count = impulse.size();
    while (count > least) {
        tail += impulse[count - 1] * impulse[count - 1];
        if (tail > most)
            break;
        --count;
    }
    return count;
}

/** Standard deviations within which all of so many normal values stay in 95 of 100 cases. */
double sigmasForAll(std::size_t count)
{
    const double chance =
        -std::expm1(std::log(confidence) / static_cast<double>(std::max<std::size_t>(count, 1)));
    double below = 0.0;
    double above = 40.0;
    while (above - below > 1e-9) {
        const double middle = 0.5 * (below + above);
        (std::erfc(middle / std::numbers::sqrt2) > chance ? below : above) = middle;
    }
    return above;
}

std::string hertz(double frequencyHz)
{
    return dsp::nominalLabel(frequencyHz) + " Hz";
}

std::string signedDb(double valueDb)
{
    return (valueDb >= 0.0 ? "+" : "") + fixedText(valueDb, 2) + " dB";
}

/** Marks a response as predicted: its name and remarks. */
void addPredictedWords(const Tuning& tuning, bool isLimited, measure::Response& predicted)
{
    predicted.remarks.push_back("Predicted from '" + predicted.name + "' and the tuning '"
                                + tuning.name
                                + "', not measured; uncertainty is that of the measurement.");
    predicted.name += " + " + tuning.name;
    if (isLimited)
        predicted.remarks.emplace_back(
            "The tuning's limiter is not in the prediction: what it does "
            "depends on the level.");
}

} // namespace

dsp::Result<measure::Response> predictResponse(const measure::Response& measured,
                                               const Tuning& tuning, OutputGroup output)
{
    if (const auto applies = checkApplies(tuning, output); !applies)
        return applies.unexpected();
    const double sampleRate = measured.sampleRate;
    const auto guardFrames = static_cast<std::size_t>(guardSeconds * sampleRate);
    const std::size_t roomFrames =
        measured.impulse.size() + static_cast<std::size_t>(ringSeconds * sampleRate);
    dsp::RealFft<double> fft(dsp::fastFftSize(roomFrames + guardFrames));
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(measured.impulse, fft.time().begin());
    fft.forward();
    const auto powerBefore = powers(fft.spectrum());
    const double binHz = sampleRate / static_cast<double>(fft.size());
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin)
        fft.spectrum()[bin] *= idealResponse(tuning, output, static_cast<double>(bin) * binHz);
    // A real signal has real values at both ends.
    fft.spectrum().back() = fft.spectrum().back().real();
    fft.spectrum().front() = fft.spectrum().front().real();
    const auto powerAfter = powers(fft.spectrum());
    fft.inverse();

    measure::Response predicted = measured;
    const auto change = timeChange(tuning, output);
    const auto shift = static_cast<std::size_t>(std::lround(0.001 * change.delayMs * sampleRate));
    const std::size_t most =
        std::min(roomFrames, static_cast<std::size_t>(longestSeconds * sampleRate));
    const std::size_t numFrames = framesWithEnergy(std::span<const double>(fft.time()).first(most),
                                                   std::min(most, measured.impulse.size()));
    predicted.impulse.assign(numFrames, 0.0F);
    std::ranges::transform(fft.time().first(numFrames), predicted.impulse.begin(),
                           [](double sample) { return static_cast<float>(sample); });
    predicted.arrivalFrame = std::min(measured.arrivalFrame + shift, numFrames - 1);
    if (measured.arrivalSeconds > 0.0)
        predicted.arrivalSeconds += 0.001 * change.delayMs;
    if (change.isInverted && predicted.polarity != measure::Polarity::unclear) {
        predicted.polarity = predicted.polarity == measure::Polarity::positive
                                 ? measure::Polarity::negative
                                 : measure::Polarity::positive;
        predicted.polarityReason += "; turned over by the tuning";
    }
    for (measure::BandConfidence& band : predicted.bands) {
        const double half = std::pow(10.0, 0.05); // IEC 61260-1, third octave
        const std::array<dsp::Band, 1> only {
            dsp::Band {band.frequencyHz, band.frequencyHz / half, band.frequencyHz * half}};
        band.levelDb += dsp::powerToDb(dsp::bandPowers(powerAfter, binHz, only).front())
                        - dsp::powerToDb(dsp::bandPowers(powerBefore, binHz, only).front());
    }
    predicted.distortion.clear();
    predicted.harmonics.reset();
    addPredictedWords(tuning, hasLimiter(tuning, output), predicted);
    return predicted;
}

dsp::Result<measure::Response> predictResponse(const measure::GroupedStates& groups,
                                               const Tuning& tuning)
{
    std::vector<std::vector<float>> impulses;
    bool limited = false;
    for (const measure::Response& state : groups.states) {
        auto predicted = predictResponse(state, tuning, state.state.speakers);
        if (!predicted)
            return predicted.unexpected();
        impulses.push_back(std::move(predicted->impulse));
        limited = limited || hasLimiter(tuning, state.state.speakers);
    }
    measure::Response together = measure::responseOfGroups(groups, impulses);
    addPredictedWords(tuning, limited, together);
    return together;
}

std::string_view predictionVerdictName(PredictionVerdict verdict) noexcept
{
    switch (verdict) {
    case PredictionVerdict::confirmed: return "confirmed";
    case PredictionVerdict::close: return "close";
    case PredictionVerdict::failed: return "failed";
    case PredictionVerdict::unclear: break;
    }
    return "unclear";
}

Verification verifyPrediction(const measure::Response& predicted, const measure::Response& after,
                              const VerifySettings& settings)
{
    const double repeatabilityDb = measure::CurveEvidence {}.repeatabilityDb;
    Verification verification;
    std::vector<double> deviations;
    double weightSum = 0.0;
    double weighted = 0.0;
    for (const measure::BandConfidence& expected : predicted.bands) {
        if (expected.frequencyHz * nominalTolerance < settings.fromHz
            || expected.frequencyHz > settings.toHz * nominalTolerance)
            continue;
        const auto* found = measure::bandAt(after, expected.frequencyHz);
        if (found == nullptr)
            continue;
        VerifiedBand band;
        band.frequencyHz = expected.frequencyHz;
        band.predictedDb = expected.levelDb;
        band.measuredDb = found->levelDb;
        band.trusted = expected.trusted && found->trusted;
        const double deviation = std::hypot(measure::standardDeviationDb(expected),
                                            measure::standardDeviationDb(*found), repeatabilityDb);
        deviations.push_back(deviation);
        if (band.trusted) {
            weightSum += 1.0 / (deviation * deviation);
            weighted += (band.measuredDb - band.predictedDb) / (deviation * deviation);
            ++verification.numBands;
        }
        verification.bands.push_back(band);
    }
    if (verification.numBands > 0)
        verification.levelDifferenceDb = weighted / weightSum;

    const double sigmas = sigmasForAll(verification.numBands);
    const double sharedDb =
        settings.level == LevelRule::free ? verification.levelDifferenceDb : 0.0;
    bool isWithinUncertainty = true;
    double squares = 0.0;
    double worstShare = -1.0;
    for (std::size_t index = 0; index < verification.bands.size(); ++index) {
        VerifiedBand& band = verification.bands[index];
        band.differenceDb = band.measuredDb - band.predictedDb - sharedDb;
        band.allowedDb = sigmas * deviations[index];
        if (!band.trusted)
            continue;
        squares += band.differenceDb * band.differenceDb;
        const double size = std::abs(band.differenceDb);
        isWithinUncertainty = isWithinUncertainty && size <= band.allowedDb;
        if (size >= std::abs(verification.largestDb)) {
            verification.largestDb = band.differenceDb;
            verification.largestAtHz = band.frequencyHz;
        }
        // What is beyond both decides; of the rest, what comes closest.
        const double share = size / std::max(band.allowedDb, settings.toleranceDb);
        if (share > worstShare) {
            worstShare = share;
            verification.worstDb = band.differenceDb;
            verification.worstAtHz = band.frequencyHz;
            verification.worstAllowedDb = band.allowedDb;
        }
    }
    if (verification.numBands > 0)
        verification.rmsDb = std::sqrt(squares / static_cast<double>(verification.numBands));
    if (verification.numBands < leastBands)
        verification.verdict = PredictionVerdict::unclear;
    else if (isWithinUncertainty)
        verification.verdict = PredictionVerdict::confirmed;
    else
        verification.verdict =
            worstShare <= 1.0 ? PredictionVerdict::close : PredictionVerdict::failed;
    return verification;
}

std::vector<std::string> verificationSentences(const Verification& verification,
                                               const VerifySettings& settings)
{
    const std::string range =
        fixedText(settings.fromHz, 0) + " Hz to " + fixedText(settings.toHz, 0) + " Hz";
    std::vector<std::string> sentences;
    switch (verification.verdict) {
    case PredictionVerdict::confirmed:
        sentences.emplace_back(
            "Confirmed: in every band the new measurement agrees with the prediction "
            "within the two measurements' own uncertainty.");
        break;
    case PredictionVerdict::close:
        sentences.push_back("Close: some bands differ by more than the measurements' uncertainty, "
                            "but none by more than "
                            + fixedText(settings.toleranceDb, 1) + " dB.");
        break;
    case PredictionVerdict::failed:
        sentences.push_back(
            "Not as predicted: " + signedDb(verification.worstDb) + " at "
            + hertz(verification.worstAtHz) + ", where the uncertainty explains "
            + fixedText(verification.worstAllowedDb, 2) + " dB and "
            + fixedText(settings.toleranceDb, 1)
            + " dB is let pass. Check that the tuning was entered and stored on the "
              "bike, and that microphone and profile are those of the first "
              "measurement.");
        break;
    case PredictionVerdict::unclear:
        sentences.push_back(
            "Cannot be judged: only " + std::to_string(verification.numBands)
            + " third octaves from " + range + " may be relied on in both measurements, and "
            + std::to_string(leastBands) + " are needed; measure again with less noise.");
        return sentences;
    }
    sentences.push_back("Difference, measured minus predicted, " + range + ", "
                        + std::to_string(verification.numBands) + " third octaves: largest "
                        + signedDb(verification.largestDb) + " at "
                        + hertz(verification.largestAtHz) + ", RMS "
                        + fixedText(verification.rmsDb, 2) + " dB.");
    if (settings.level == LevelRule::free)
        sentences.push_back("Level, taken out of this: " + signedDb(verification.levelDifferenceDb)
                            + " against the prediction, which is volume and recorder if they were "
                              "moved, else a gain that was not entered.");
    return sentences;
}

} // namespace saddletone::tuning
