#include "Plugin/TuningCurves.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/SpeakerSet.h"
#include "Gui/ElementWords.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::plugin {

namespace {

constexpr int pointsPerOctave = 12;
/** Designs hardly depend on the rate (see dsp::MatchedBiquad), and this is the usual one. */
constexpr double designRate = 48000.0;
/** Points within a twelfth of an octave that a filter's power is averaged over, in octaves. */
constexpr std::array partsOctaves {-1.0 / 36.0, 0.0, 1.0 / 36.0};

bool isTrustedAt(const measure::Response& response, double frequencyHz)
{
    if (response.bands.empty())
        return false;
    const auto nearest = std::ranges::min_element(response.bands, {}, [&](const auto& band) {
        return std::abs(std::log(band.frequencyHz / frequencyHz));
    });
    // Further than half a third octave away there is no band to speak for it.
    return nearest->trusted && std::abs(std::log2(nearest->frequencyHz / frequencyHz)) < 0.51 / 3.0;
}

juce::String decibels(double db)
{
    return gui::numberWords(db, 1) + " dB";
}

juce::String hertz(double frequencyHz)
{
    return frequencyHz < 1000.0
               ? gui::numberWords(frequencyHz, 0) + " Hz"
               : gui::numberWords(frequencyHz / 1000.0, frequencyHz < 9950.0 ? 1 : 0) + " kHz";
}

/** What a tuning does to the sum of speaker groups, each playing the same: power within a twelfth of
    an octave after it, re that before. */
tuning::LevelDbAt groupsLevelDbOf(const measure::GroupedStates& groups,
                                  const tuning::Tuning& tuning)
{
    struct Sums {
        std::vector<double> before {0.0}; // of the powers of all bins below
        std::vector<double> after {0.0};
        double binHz = 1.0;
    };
    const double rate = groups.states.front().sampleRate;
    std::size_t longest = static_cast<std::size_t>(rate);
    for (const measure::Response& state : groups.states)
        longest = std::max(longest, state.impulse.size());
    dsp::RealFft<double> fft(dsp::fastFftSize(longest));
    auto sums = std::make_shared<Sums>();
    sums->binHz = rate / static_cast<double>(fft.size());
    const bool isTimed = groups.sum == measure::GroupSum::timed;
    std::vector<std::complex<double>> before(fft.numBins());
    std::vector<std::complex<double>> after(fft.numBins());
    for (std::size_t index = 0; index < groups.states.size(); ++index) {
        const measure::Response& state = groups.states[index];
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(state.impulse, fft.time().begin());
        fft.forward();
        const auto designed = tuning::designTuning(tuning, state.state.speakers, rate);
        const double earlierSeconds =
            static_cast<double>(state.arrivalFrame) / rate - groups.laterSeconds[index];
        for (std::size_t bin = 0; bin < fft.numBins(); ++bin) {
            const double frequencyHz = static_cast<double>(bin) * sums->binHz;
            const auto value =
                fft.spectrum()[bin]
                * std::polar(1.0, 2.0 * std::numbers::pi * frequencyHz * earlierSeconds);
            const auto tuned = value * designed.response(frequencyHz);
            // Powers have no phase: they are added up in the real part.
            before[bin] += isTimed ? value : std::norm(value);
            after[bin] += isTimed ? tuned : std::norm(tuned);
        }
    }
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin) {
        sums->before.push_back(sums->before.back()
                               + (isTimed ? std::norm(before[bin]) : before[bin].real()));
        sums->after.push_back(sums->after.back()
                              + (isTimed ? std::norm(after[bin]) : after[bin].real()));
    }
    return [sums](double frequencyHz) {
        const double half = std::exp2(0.5 / pointsPerOctave);
        const auto last = sums->before.size() - 1;
        const auto from = std::min(
            static_cast<std::size_t>(std::lround(frequencyHz / half / sums->binHz)), last - 1);
        const auto to =
            std::clamp(static_cast<std::size_t>(std::lround(frequencyHz * half / sums->binHz)) + 1,
                       from + 1, last);
        return dsp::powerToDb(sums->after[to] - sums->after[from])
               - dsp::powerToDb(sums->before[to] - sums->before[from]);
    };
}

} // namespace

tuning::LevelDbAt appliedLevelDbOf(const DraftCandidate& candidate)
{
    const tuning::Tuning tuning = tuningOf(candidate);
    if (candidate.groups != nullptr)
        return groupsLevelDbOf(*candidate.groups, tuning);
    const measure::SpeakerGroup speakers = candidate.response->state.speakers;
    const auto designOn = [&](measure::BikeChannel channel) {
        return tuning::designTuning(tuning, measure::speakersOnChannel(speakers, channel),
                                    designRate);
    };
    return [left = designOn(measure::BikeChannel::left),
            right = designOn(measure::BikeChannel::right)](double frequencyHz) {
        const double leftPower = std::norm(left.response(frequencyHz));
        if (left == right)
            return dsp::powerToDb(leftPower);
        return dsp::powerToDb(0.5 * (leftPower + std::norm(right.response(frequencyHz))));
    };
}

TuningCurveMaker::TuningCurveMaker()
{
    for (const dsp::Band& band : dsp::octaveBands(pointsPerOctave, 20.0, 20000.0))
        frequenciesHz.push_back(band.centreHz);
}

void TuningCurveMaker::reset()
{
    known.clear();
}

void TuningCurveMaker::setTarget(tuning::FitTarget newTarget, tuning::FitRange newRange)
{
    wanted = std::move(newTarget);
    fitRange = newRange;
    for (Measured& measured : known)
        measured.curve.reset();
}

TuningCurveMaker::Measured&
TuningCurveMaker::measuredOf(const std::shared_ptr<const measure::Response>& response)
{
    if (const auto found = std::ranges::find(known, response, &Measured::response);
        found != known.end())
        return *found;
    Measured measured;
    measured.response = response;
    measured.levelsDb = response->magnitudeDb(frequenciesHz, pointsPerOctave);
    double sumDb = 0.0;
    double count = 0.0;
    for (std::size_t point = 0; point < frequenciesHz.size(); ++point) {
        const bool isTrusted = isTrustedAt(*response, frequenciesHz[point]);
        measured.isTrusted.push_back(isTrusted);
        if (isTrusted) {
            sumDb += measured.levelsDb[point];
            count += 1.0;
        }
    }
    if (count == 0.0) // nothing to be relied on: the whole curve has to do
        for (const double levelDb : measured.levelsDb) {
            sumDb += levelDb;
            count += 1.0;
        }
    measured.meanDb = sumDb / count;
    known.push_back(std::move(measured));
    return known.back();
}

std::vector<double> TuningCurveMaker::predictedDb(const Measured& measured,
                                                  const tuning::LevelDbAt& change) const
{
    std::vector<double> levelsDb;
    levelsDb.reserve(frequenciesHz.size());
    for (std::size_t point = 0; point < frequenciesHz.size(); ++point) {
        double power = 0.0;
        for (const double octaves : partsOctaves)
            power += dsp::dbToPower(change(frequenciesHz[point] * std::exp2(octaves)));
        levelsDb.push_back(measured.levelsDb[point] - measured.meanDb
                           + dsp::powerToDb(power / static_cast<double>(partsOctaves.size())));
    }
    return levelsDb;
}

void TuningCurveMaker::addTarget(Measured& measured, const tuning::LevelDbAt& change,
                                 gui::TuningCurves& curves) const
{
    if (!measured.curve)
        measured.curve = tuning::makeFitCurve(*measured.response, wanted, fitRange);
    double offsetDb = 0.0;
    if (const auto& curve = *measured.curve) {
        const std::vector<double> changeDb = tuning::changeDbAt(*curve, change);
        double sumDb = 0.0;
        double weights = 0.0;
        for (std::size_t point = 0; point < curve->points.size(); ++point) {
            const tuning::FitPoint& each = curve->points[point];
            sumDb += each.weight * (each.levelDb + changeDb[point] - each.targetDb);
            weights += each.weight;
        }
        offsetDb = sumDb / weights - measured.meanDb;
        const double beforeDb =
            tuning::curveErrorDb(*curve, tuning::changeDbAt(*curve, tuning::noChangeDb));
        curves.words = "Strays by " + decibels(tuning::curveErrorDb(*curve, changeDb))
                       + " from the target (" + decibels(beforeDb) + " as measured), "
                       + hertz(fitRange.fromHz) + " to " + hertz(fitRange.toHz) + ".";
    } else {
        curves.words = toText(curve.error().message);
    }
    for (const double frequencyHz : frequenciesHz)
        curves.targetDb.push_back(wanted.levelDbAt(frequencyHz) + offsetDb);
}

std::shared_ptr<const gui::TuningCurves> TuningCurveMaker::make(const TuningDocument& document,
                                                                std::size_t edited,
                                                                std::span<const std::size_t> beside)
{
    auto curves = std::make_shared<gui::TuningCurves>();
    curves->frequenciesHz = frequenciesHz;
    const DraftCandidate& candidate = document.candidates[edited];
    const tuning::LevelDbAt change = appliedLevelDbOf(candidate);
    Measured& measured = measuredOf(candidate.response);
    for (const double levelDb : measured.levelsDb)
        curves->measuredDb.push_back(levelDb - measured.meanDb);
    curves->isTrusted = measured.isTrusted;
    curves->predictedDb = predictedDb(measured, change);
    addTarget(measured, change, *curves);
    for (const std::size_t index : beside) {
        const DraftCandidate& other = document.candidates[index];
        curves->beside.push_back(
            {index, predictedDb(measuredOf(other.response), appliedLevelDbOf(other))});
    }
    return curves;
}

} // namespace saddletone::plugin
