#include "Plugin/TuningCurves.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Gui/ElementWords.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <array>
#include <cmath>

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

} // namespace

tuning::LevelDbAt appliedLevelDbOf(const tuning::Tuning& tuning)
{
    return [left = tuning::designTuning(tuning, tuning::OutputGroup::left, designRate),
            right = tuning::designTuning(tuning, tuning::OutputGroup::right, designRate)](
               double frequencyHz) {
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
    const tuning::LevelDbAt change = appliedLevelDbOf(tuningOf(candidate));
    Measured& measured = measuredOf(candidate.response);
    for (const double levelDb : measured.levelsDb)
        curves->measuredDb.push_back(levelDb - measured.meanDb);
    curves->isTrusted = measured.isTrusted;
    curves->predictedDb = predictedDb(measured, change);
    addTarget(measured, change, *curves);
    for (const std::size_t index : beside) {
        const DraftCandidate& other = document.candidates[index];
        curves->beside.push_back(
            {index, predictedDb(measuredOf(other.response), appliedLevelDbOf(tuningOf(other)))});
    }
    return curves;
}

} // namespace saddletone::plugin
