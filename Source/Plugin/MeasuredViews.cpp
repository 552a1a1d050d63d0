#include "Plugin/MeasuredViews.h"

#include "Core/Dsp/Units.h"
#include "Core/Measure/Comparison.h"
#include "Core/Measure/ResponseWindow.h"
#include "Core/Measure/Smoothing.h"
#include "Core/Report/Wording.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <cmath>

namespace saddletone::plugin {

namespace {

constexpr double referenceFromHz = 500.0;
constexpr double referenceToHz = 2000.0;
constexpr double highestRatio = 0.45; // of the sample rate; the converter's filter lies above

/** A width in parts of an octave; 0 where there is none. */
int smoothingPerOctave(gui::CurveSmoothing smoothing)
{
    switch (smoothing) {
    case gui::CurveSmoothing::twentyFourth: return 24;
    case gui::CurveSmoothing::twelfth: return 12;
    case gui::CurveSmoothing::sixth: return 6;
    case gui::CurveSmoothing::third: return 3;
    case gui::CurveSmoothing::none:
    case gui::CurveSmoothing::asHeard: break;
    }
    return 0;
}

/** Two points or more in the width of a bump that the smoothing leaves. */
int pointsPerOctave(gui::CurveSmoothing smoothing)
{
    switch (smoothing) {
    case gui::CurveSmoothing::none: return 96;
    case gui::CurveSmoothing::twentyFourth: return 48;
    default: return 24;
    }
}

std::string smoothingWords(gui::CurveSmoothing smoothing)
{
    if (smoothing == gui::CurveSmoothing::none)
        return "not smoothed";
    if (smoothing == gui::CurveSmoothing::asHeard)
        return "smoothed as the ear weighs it";
    return "smoothed over 1/" + std::to_string(smoothingPerOctave(smoothing)) + " octave";
}

/** "50 Hz" for any frequency, in two or three digits. */
std::string anyFrequencyWords(double frequencyHz)
{
    if (frequencyHz >= 1000.0)
        return report::numberText(frequencyHz / 1000.0, 1) + " kHz";
    return report::numberText(frequencyHz, frequencyHz < 99.5 ? 1 : 0) + " Hz";
}

double meanLevelDb(const std::vector<measure::BandConfidence>& bands)
{
    double sum = 0.0;
    int count = 0;
    for (const measure::BandConfidence& band : bands)
        // Nominal limits lie up to 1.6 % beside the exact mid-bands (ISO 266).
        if (band.frequencyHz >= referenceFromHz * 0.95
            && band.frequencyHz <= referenceToHz * 1.05) {
            sum += band.levelDb;
            ++count;
        }
    return count > 0 ? sum / count : 0.0;
}

std::string displayWordsOf(const gui::CurveDisplay& display, double lowestHz, double fromHz)
{
    std::string words = "Shown " + smoothingWords(display.smoothing) + ", ";
    switch (display.window) {
    case gui::CurveWindow::whole: words += "whole response"; break;
    case gui::CurveWindow::milliseconds:
        words += "first " + report::numberText(display.windowMs, 0) + " ms";
        break;
    case gui::CurveWindow::cycles:
        words +=
            "first " + report::numberText(display.windowCycles, 0) + " cycles of each frequency";
        break;
    }
    words += "; saved as measured.";
    if (display.window != gui::CurveWindow::whole)
        words += lowestHz > fromHz
                     ? " Below " + anyFrequencyWords(lowestHz)
                           + " this window can tell nothing: broken line."
                     : " The window can tell all from " + anyFrequencyWords(fromHz) + " up.";
    return words;
}

/** Harmonic of an order nearest to a frequency of the fundamental; null: not known there. */
const measure::HarmonicLevel* nearest(const measure::HarmonicOrder& order, double frequencyHz)
{
    const measure::HarmonicLevel* found = nullptr;
    for (const measure::HarmonicLevel& level : order.levels)
        if (std::abs(std::log2(level.frequencyHz / frequencyHz)) < 0.2)
            found = &level;
    return found;
}

std::string ordinal(int order)
{
    return std::to_string(order) + (order == 2 ? "nd" : order == 3 ? "rd" : "th");
}

std::string harmonicWords(const measure::HarmonicLevel& level)
{
    const double percent = 100.0 * dsp::dbToAmplitude(level.levelDb);
    return report::numberText(level.levelDb, 1) + " dB ("
           + report::numberText(percent, percent < 0.995 ? 2 : 1) + " %)";
}

std::string distortionWordsOf(const measure::Response& response)
{
    if (response.distortion.empty())
        return "Harmonic distortion is not known for this state: it takes a recording of a sweep.";
    const measure::HarmonicLevel* highest = nullptr;      // above the noise
    const measure::HarmonicLevel* highestFloor = nullptr; // of those that are lost in it
    int highestOrder = 0;
    for (const measure::HarmonicOrder& order : response.distortion)
        for (const measure::HarmonicLevel& level : order.levels)
            if (!level.significant()) {
                if (highestFloor == nullptr || level.levelDb > highestFloor->levelDb)
                    highestFloor = &level;
            } else if (highest == nullptr || level.levelDb > highest->levelDb) {
                highest = &level;
                highestOrder = order.order;
            }
    if (highest == nullptr)
        return highestFloor == nullptr
                   ? std::string("The sweep was too short to tell harmonics apart.")
                   : "No harmonic stands above the noise, which reads "
                         + harmonicWords(*highestFloor) + " at most, at "
                         + report::frequencyWords(highestFloor->frequencyHz)
                         + ": distortion is no more than that.";

    std::string words = "Highest: " + ordinal(highestOrder) + " at "
                        + report::frequencyWords(highest->frequencyHz) + ", "
                        + harmonicWords(*highest) + ".";
    for (const double frequencyHz : {100.0, 1000.0}) {
        std::string parts;
        for (const measure::HarmonicOrder& order : response.distortion) {
            const auto* const level = nearest(order, frequencyHz);
            if (level == nullptr)
                continue;
            parts += (parts.empty() ? "" : ", ") + ordinal(order.order) + " "
                     + (level->significant() ? harmonicWords(*level) : std::string("in the noise"));
        }
        if (!parts.empty())
            words += " At " + report::frequencyWords(frequencyHz) + ": " + parts + ".";
    }
    return words;
}

std::string confidenceWordsOf(const measure::Response& response)
{
    std::string words = trustWords(response) + ".";
    const measure::BandConfidence* widest = nullptr;
    const measure::BandConfidence* mostSpread = nullptr;
    for (const measure::BandConfidence& band : response.bands) {
        if (!band.trusted)
            continue;
        if (widest == nullptr || band.interval95Db > widest->interval95Db)
            widest = &band;
        if (mostSpread == nullptr || band.spreadDb > mostSpread->spreadDb)
            mostSpread = &band;
    }
    if (widest != nullptr && widest->interval95Db > 0.0)
        words += widest->interval95Db < 0.05
                     ? std::string(" 95 % interval below \xc2\xb1"
                                   "0.1 dB everywhere.")
                     : " 95 % interval at most \xc2\xb1"
                           + report::numberText(widest->interval95Db, 1) + " dB, at "
                           + report::frequencyWords(widest->frequencyHz) + ".";
    if (response.numTakes < 2)
        words += " One take: what repeats is not known.";
    else if (mostSpread != nullptr)
        words += " Spread of " + std::to_string(response.numTakes) + " takes at most "
                 + report::numberText(mostSpread->spreadDb, 1) + " dB, at "
                 + report::frequencyWords(mostSpread->frequencyHz) + ".";
    words += response.arrivalSeconds > 0.0
                 ? " The sweep arrives " + report::numberText(response.arrivalSeconds, 4)
                       + " s into the first take."
                 : std::string(" Its time of arrival is not known.");
    words += " Polarity " + std::string(measure::polarityName(response.polarity));
    if (!response.polarityReason.empty())
        words += " (" + response.polarityReason + ")";
    return words + ".";
}

juce::String engineWords(measure::EngineState engine)
{
    switch (engine) {
    case measure::EngineState::off: return "engine off";
    case measure::EngineState::idle: return "engine idling";
    case measure::EngineState::running: break;
    }
    return "engine running";
}

std::string signedText(double value, int numDecimals)
{
    return (value > 0.0 ? "+" : "") + report::numberText(value, numDecimals);
}

std::string groupWordsOf(std::span<const std::shared_ptr<const measure::Response>> groups)
{
    if (groups.size() < 2)
        return {};
    const measure::Response& first = *groups.front();
    const std::string firstName = measure::speakerGroupWords(first.state.speakers);
    bool isAnyKnown = false;
    std::string words = firstName + " " + std::string(measure::polarityName(first.polarity));
    for (const auto& group : groups.subspan(1)) {
        words += "; " + measure::speakerGroupWords(group->state.speakers) + " "
                 + std::string(measure::polarityName(group->polarity));
        if (const auto laterMs = measure::arrivalInOneRecordingMs(first, *group)) {
            isAnyKnown = true;
            words += ", " + report::numberText(std::abs(*laterMs), 2)
                     + (*laterMs < 0.0 ? " ms earlier" : " ms later");
        }
    }
    return "Polarity" + (isAnyKnown ? " and arrival against " + firstName : std::string())
           + " by speakers: " + words + ".";
}

std::string matchWordsOf(const measure::Response& left, const measure::Response& right,
                         const measure::SideMatch& match)
{
    const std::string sides = measure::speakerGroupWords(right.state.speakers) + " against the "
                              + measure::speakerGroupWords(left.state.speakers);
    if (match.numBands == 0)
        return "The " + sides + ": no band can be trusted in both.";
    std::string words = "The " + sides + " (if volume and gain were the same): level "
                        + signedText(match.levelDifferenceDb, 1) + " dB, shape "
                        + report::numberText(match.rmsDb, 1) + " dB RMS, at most "
                        + signedText(match.largestDb, 1) + " dB at "
                        + report::frequencyWords(match.largestAtHz);
    switch (match.polarity) {
    case measure::RelativePolarity::same: words += "; same polarity"; break;
    case measure::RelativePolarity::reversed: words += "; polarity reversed"; break;
    case measure::RelativePolarity::unknown: words += "; polarity cannot be compared"; break;
    }
    if (const auto laterMs = measure::arrivalInOneRecordingMs(left, right))
        words += "; the right arrives " + report::numberText(std::abs(*laterMs), 2) + " ms "
                 + (*laterMs < 0.0 ? "earlier." : "later.");
    else
        words += "; arrival cannot be compared: that takes one recording of both.";
    if (left.state.microphonePlace != right.state.microphonePlace)
        words += " The microphone stood at another place, which counts too.";
    return words;
}

} // namespace

juce::String stateName(const juce::String& profile, measure::EngineState engine,
                       measure::SpeakerGroup speakers)
{
    juce::String name =
        profile.trim().isEmpty() ? juce::String("Profile not named") : profile.trim();
    if (speakers != measure::SpeakerGroup::all)
        name << ", " << toText(measure::speakerGroupWords(speakers));
    return name + ", " + engineWords(engine);
}

gui::SpeakersView makeSpeakersView(std::span<const std::shared_ptr<const measure::Response>> groups)
{
    gui::SpeakersView view;
    view.groupWords = toText(groupWordsOf(groups));
    const auto partner = std::ranges::find_if(groups, [&](const auto& group) {
        return measure::areSidesOfOne(groups.front()->state, group->state);
    });
    if (partner == groups.end())
        return view;
    const bool isLeft = measure::isLeftSide(groups.front()->state.speakers);
    const measure::Response& left = isLeft ? *groups.front() : **partner;
    const measure::Response& right = isLeft ? **partner : *groups.front();
    const measure::SideMatch range;
    const auto match = measure::matchSides(left, right, range.fromHz, range.toHz);
    view.matchWords = toText(matchWordsOf(left, right, match));
    if (match.polarity == measure::RelativePolarity::reversed)
        view.warning = toText("Warning: the " + measure::speakerGroupWords(left.state.speakers)
                              + " and the " + measure::speakerGroupWords(right.state.speakers)
                              + " speakers push against each other, which takes bass away. Check "
                                "the wires of one side.");
    return view;
}

std::string trustWords(const measure::Response& response)
{
    const measure::BandConfidence* lowest = nullptr;
    const measure::BandConfidence* highest = nullptr;
    std::size_t numTrusted = 0;
    for (const measure::BandConfidence& band : response.bands)
        if (band.trusted) {
            lowest = lowest == nullptr ? &band : lowest;
            highest = &band;
            ++numTrusted;
        }
    const std::string snr = "SNR at least " + report::numberText(response.snrDb, 0) + " dB";
    if (lowest == nullptr)
        return snr + ", no band can be trusted";
    std::string words = snr + ", trusted from " + report::frequencyWords(lowest->frequencyHz)
                        + " to " + report::frequencyWords(highest->frequencyHz);
    const auto span = static_cast<std::size_t>(highest - lowest) + 1;
    if (numTrusted < span)
        words += " except in " + std::to_string(span - numTrusted) + " bands between";
    return words;
}

gui::MeasuredView makeMeasuredView(const measure::Response& response,
                                   const gui::CurveDisplay& display)
{
    gui::MeasuredView view;
    view.name = toText(response.name);
    view.engine = response.state.engine;
    view.speakers = response.state.speakers;
    view.numTakes = response.numTakes;
    view.snrDb = response.snrDb;
    view.display = display;
    view.bands = response.bands;
    view.distortion = response.distortion;

    measure::WindowedResponse windowed;
    if (display.window == gui::CurveWindow::milliseconds)
        windowed = measure::windowFixed(response, display.windowMs);
    else if (display.window == gui::CurveWindow::cycles)
        windowed = measure::windowCycles(response, display.windowCycles);
    else
        windowed.response = response;
    const measure::Response& drawn = windowed.response;
    view.lowestHz = windowed.lowestHz;
    view.referenceDb = meanLevelDb(drawn.bands);

    const int numPoints = pointsPerOctave(display.smoothing);
    for (int point = 0;; ++point) {
        const double frequencyHz =
            response.fromHz * std::exp2(static_cast<double>(point) / numPoints);
        if (frequencyHz > std::min(response.toHz, highestRatio * response.sampleRate))
            break;
        view.frequenciesHz.push_back(frequencyHz);
    }
    view.levelsDb =
        display.smoothing == gui::CurveSmoothing::asHeard
            ? measure::psychoacousticDb(drawn, view.frequenciesHz)
            : drawn.magnitudeDb(view.frequenciesHz, smoothingPerOctave(display.smoothing));

    std::string words = trustWords(response) + ".";
    for (const std::string& remark : response.remarks)
        words += " " + remark;
    view.words = toText(words);
    view.displayWords = toText(displayWordsOf(display, view.lowestHz, response.fromHz));
    view.distortionWords = toText(distortionWordsOf(response));
    view.confidenceWords = toText(confidenceWordsOf(response));
    return view;
}

} // namespace saddletone::plugin
