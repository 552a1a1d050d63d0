#include "Core/Report/Wording.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace saddletone::report {

namespace {

constexpr std::string_view trueMinus = "\xE2\x88\x92";
constexpr std::string_view enDash = "\xE2\x80\x93";

/** A frequency a filter is set to, which need not be a mid-band. */
std::string setFrequencyWords(double frequencyHz)
{
    if (frequencyHz < 1000.0)
        return numberText(frequencyHz,
                          frequencyHz < 100.0
                                  && std::abs(frequencyHz - std::round(frequencyHz)) > 0.05
                              ? 1
                              : 0)
               + " Hz";
    std::string text = numberText(frequencyHz / 1000.0, 2);
    while (text.ends_with('0'))
        text.pop_back();
    if (text.ends_with('.'))
        text.pop_back();
    return text + " kHz";
}

std::string orderWords(const tuning::Element& element)
{
    std::string_view alignment = "Butterworth ";
    if (element.alignment == tuning::Alignment::linkwitzRiley)
        alignment = "Linkwitz-Riley ";
    else if (element.alignment == tuning::Alignment::bessel)
        alignment = "Bessel ";
    return std::string(alignment) + std::to_string(6 * element.order) + " dB/octave";
}

std::string shelfShapeWords(const tuning::Element& element)
{
    return element.slope ? ", slope " + numberText(*element.slope, 2)
                         : ", Q " + numberText(element.q, 2);
}

/** The bands that are moved, with their gains. */
std::string graphicWords(const tuning::Element& element)
{
    const auto frequenciesHz = tuning::graphicFrequenciesHz();
    std::string words;
    for (std::size_t band = 0; band < frequenciesHz.size(); ++band)
        if (element.bandGainsDb[band] != 0.0)
            words += (words.empty() ? "" : ", ") + frequencyWords(frequenciesHz[band]) + " "
                     + signedText(element.bandGainsDb[band], 1) + " dB";
    return words.empty() ? "graphic equaliser, all bands at 0 dB"
                         : "graphic equaliser (third octaves) " + words;
}

std::string limiterWords(const tuning::Element& element)
{
    return "limiter above " + numberText(element.thresholdDbfs, 1) + " dBFS (attack "
           + numberText(element.attackMs, 2) + " ms, release " + numberText(element.releaseMs, 0)
           + " ms; not in the curves)";
}

std::string allPassWords(const tuning::Element& element)
{
    const std::string frequency = "all-pass " + setFrequencyWords(element.frequencyHz);
    return element.order == 1 ? frequency + ", first order"
                              : frequency + ", Q " + numberText(element.q, 2);
}

/** Three standard deviations; noise alone, not what moved between the takes. */
std::string spreadWords(double uncertaintyDb)
{
    return "\xC2\xB1" + numberText(std::max(0.1, 3.0 * uncertaintyDb), 1) + " dB";
}

std::string_view groupOpening(tuning::OutputGroup group) noexcept
{
    using tuning::OutputGroup;
    switch (group) {
    case OutputGroup::left: return "Left: ";
    case OutputGroup::right: return "Right: ";
    case OutputGroup::front: return "Front: ";
    case OutputGroup::rear: return "Rear: ";
    case OutputGroup::frontLeft: return "Front left: ";
    case OutputGroup::frontRight: return "Front right: ";
    case OutputGroup::rearLeft: return "Rear left: ";
    case OutputGroup::rearRight: return "Rear right: ";
    case OutputGroup::all: break;
    }
    return "";
}

std::string openingOf(const measure::BikeState& state, SpeedUnits units)
{
    std::string opening = "with the engine running";
    if (state.speedKmh > 0.0)
        opening = "at " + speedWords(state.speedKmh, units);
    else if (state.engine == measure::EngineState::idle)
        opening = "with the engine idling";
    if (!state.radioProfile.empty())
        return "Profile " + state.radioProfile + ": " + opening;
    opening.front() = opening.front() == 'w' ? 'W' : 'A';
    return opening;
}

} // namespace

std::string numberText(double value, int decimals)
{
    // Nothing in a report is as large; a number of that size is a fault, not a reading.
    if (!std::isfinite(value) || std::abs(value) > 1e9)
        return std::string(enDash);
    std::string text = files::fixedText(value, decimals);
    if (text.starts_with('-'))
        text.replace(0, 1, trueMinus);
    return text;
}

std::string signedText(double value, int decimals)
{
    const std::string text = numberText(value, decimals);
    const bool isZero = text.find_first_not_of("0.") == std::string::npos;
    return std::isfinite(value) && value > 0.0 && !isZero ? "+" + text : text;
}

std::string frequencyWords(double thirdOctaveCentreHz)
{
    if (!(thirdOctaveCentreHz > 0.0) || !std::isfinite(thirdOctaveCentreHz))
        return std::string(enDash);
    if (thirdOctaveCentreHz < 990.0)
        return dsp::nominalLabel(thirdOctaveCentreHz) + " Hz";
    return dsp::nominalLabel(thirdOctaveCentreHz / 1000.0) + " kHz";
}

std::string speedWords(double speedKmh, SpeedUnits units)
{
    if (!(speedKmh > 0.0))
        return "parked";
    const std::string mph = numberText(dsp::kmhToMph(speedKmh), 0) + " mph";
    const std::string kmh = numberText(speedKmh, 0) + " km/h";
    switch (units) {
    case SpeedUnits::mph: return mph;
    case SpeedUnits::kmh: return kmh;
    case SpeedUnits::both: break;
    }
    return mph + " (" + kmh + ")";
}

std::string conditionWords(const measure::BikeState& state, SpeedUnits units)
{
    std::string engine = "engine off";
    if (state.engine == measure::EngineState::idle)
        engine = "engine idling";
    else if (state.engine == measure::EngineState::running)
        engine = "engine running";
    const std::string ride = state.speedKmh > 0.0
                                 ? engine + ", " + speedWords(state.speedKmh, units)
                                 : "parked, " + engine;
    return state.speakers == measure::SpeakerGroup::all
               ? ride
               : ride + ", " + measure::speakerGroupWords(state.speakers) + " speakers";
}

double uncertaintyOfLargestDb(const measure::Comparison& comparison)
{
    const auto band = std::ranges::find(comparison.bands, comparison.largestAtHz,
                                        &measure::BandDifference::frequencyHz);
    return band == comparison.bands.end() ? 0.0 : band->uncertaintyDb;
}

std::string verdictSentence(const measure::BikeState& other, const measure::Comparison& comparison,
                            SpeedUnits units)
{
    const std::string opening = openingOf(other, units);
    if (std::ranges::none_of(comparison.bands, &measure::BandDifference::trusted))
        return opening
               + " nothing can be said: in no band do both measurements stand clear of the noise. "
                 "Measure again, louder or with more takes.";
    const double sizeDb = std::abs(comparison.largestDifferenceDb);
    const double uncertaintyDb = uncertaintyOfLargestDb(comparison);
    const std::string where = frequencyWords(comparison.largestAtHz);
    const std::string spread = spreadWords(uncertaintyDb);
    if (comparison.significant)
        return opening + " this radio plays another curve: " + numberText(sizeDb, 1) + " dB "
               + (comparison.largestDifferenceDb < 0.0 ? "less" : "more") + " at " + where
               + " than parked with the engine off (measured to " + spread + ").";
    if (comparison.largestAtHz <= 0.0)
        return opening + " this radio plays the same curve as parked with the engine off.";
    return opening
           + " this radio plays the same curve as parked with the engine off, as far as the "
           + "measurement tells: the largest difference is " + numberText(sizeDb, 1) + " dB at "
           + where + ", and only more than " + numberText(comparison.leastCountingDb, 1)
           + " dB would count.";
}

std::string chanceWords(double chance)
{
    constexpr double rarest = 1e-3;
    if (!(chance <= 0.5))
        return "more often than not";
    return chance < rarest ? "less than once in 1000 times"
                           : "about once in " + numberText(1.0 / chance, 0) + " times";
}

std::string evidenceSentence(const measure::Comparison& comparison)
{
    const measure::CurveEvidence& evidence = comparison.evidence;
    if (evidence.numBands < 2)
        return {};
    return "Over " + std::to_string(evidence.numBands) + " bands the curves differ by "
           + numberText(evidence.rmsDb, 1) + " dB RMS, where noise and an assumed repeatability of "
           + numberText(evidence.repeatabilityDb, 2) + " dB would give "
           + numberText(evidence.expectedRmsDb, 1)
           + " dB; two measurements of the same curve look as different "
           + chanceWords(evidence.chance) + ".";
}

std::string evennessWords(const measure::Flatness& flatness)
{
    if (flatness.numBands == 0)
        return "no band could be relied on";
    return signedText(flatness.largestDb, 1) + " dB at " + frequencyWords(flatness.largestAtHz)
           + "; RMS " + numberText(flatness.rmsDb, 1) + " dB";
}

std::string elementWords(const tuning::Element& element)
{
    using tuning::ElementType;
    const std::string gain = signedText(element.gainDb, 1) + " dB";
    const std::string frequency = setFrequencyWords(element.frequencyHz);
    const std::string q = ", Q " + numberText(element.q, 2);
    switch (element.type) {
    case ElementType::gain: return "gain " + gain;
    case ElementType::peaking: return "bell " + frequency + " " + gain + q;
    case ElementType::lowShelf:
        return "low shelf " + frequency + " " + gain + shelfShapeWords(element);
    case ElementType::highShelf:
        return "high shelf " + frequency + " " + gain + shelfShapeWords(element);
    case ElementType::highPass: return "high-pass " + frequency + ", " + orderWords(element);
    case ElementType::lowPass: return "low-pass " + frequency + ", " + orderWords(element);
    case ElementType::allPass: return allPassWords(element);
    case ElementType::notch: return "notch " + frequency + q;
    case ElementType::graphic: return graphicWords(element);
    case ElementType::limiter: return limiterWords(element);
    case ElementType::delay: return "delay " + numberText(element.delayMs, 2) + " ms";
    case ElementType::polarity: break;
    }
    return "polarity reversed";
}

std::string tuningWords(const tuning::Tuning& tuning)
{
    std::string words;
    for (const tuning::Chain& chain : tuning.chains) {
        if (chain.elements.empty())
            continue;
        if (!words.empty())
            words += ". ";
        if (chain.group != tuning::OutputGroup::all)
            words += groupOpening(chain.group);
        for (std::size_t index = 0; index < chain.elements.size(); ++index)
            words += (index == 0 ? "" : "; ") + elementWords(chain.elements[index]);
    }
    return words.empty() ? "as measured" : words;
}

std::string marked(const std::string& mark, const std::string& name)
{
    return mark.empty() ? name : mark + " " + name;
}

std::string balanceWords(double programmeOverWindDb)
{
    const std::string size = numberText(std::abs(programmeOverWindDb), 1);
    if (size == "0.0")
        return "equal";
    return size + " dB " + (programmeOverWindDb < 0.0 ? "below" : "above");
}

} // namespace saddletone::report
