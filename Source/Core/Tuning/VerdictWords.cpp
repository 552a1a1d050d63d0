#include "Core/Tuning/VerdictWords.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace saddletone::tuning {

namespace {

/** A number without zeros at its end: "3", "2.5". */
std::string shortNumber(double value, int decimals)
{
    std::string text = files::fixedText(value, decimals);
    if (text.find('.') != std::string::npos) {
        text.erase(text.find_last_not_of('0') + 1);
        if (text.ends_with('.'))
            text.pop_back();
    }
    return text;
}

std::string dbWords(double levelDb)
{
    return files::fixedText(levelDb, 1) + " dB";
}

std::string limitWords(const Sufficiency& wanted)
{
    return shortNumber(wanted.withinDb, 2) + " dB";
}

std::string setFrequencyWords(double frequencyHz)
{
    return frequencyHz < 1000.0 ? shortNumber(frequencyHz, 1) + " Hz"
                                : shortNumber(frequencyHz / 1000.0, 2) + " kHz";
}

std::string bandWords(double bandHz)
{
    return bandHz < 990.0 ? dsp::nominalLabel(bandHz) + " Hz"
                          : dsp::nominalLabel(bandHz / 1000.0) + " kHz";
}

std::string joined(const std::vector<std::string>& parts)
{
    std::string words;
    for (std::size_t index = 0; index < parts.size(); ++index) {
        if (index > 0)
            words += index + 1 == parts.size() ? " and " : ", ";
        words += parts[index];
    }
    return words;
}

std::string filtersWords(std::size_t numFilters)
{
    return numFilters == 1 ? "1 filter" : std::to_string(numFilters) + " filters";
}

std::string capitalised(std::string text)
{
    if (!text.empty() && text.front() >= 'a' && text.front() <= 'z')
        text.front() = static_cast<char>(text.front() - 'a' + 'A');
    return text;
}

/** "5.3 dB off at 80 Hz (too loud)". */
std::string offWords(const Straying& straying)
{
    return dbWords(straying.sizeDb) + " off at " + bandWords(straying.frequencyHz)
           + (straying.isAbove ? " (too loud)" : " (too quiet)");
}

/** What was measured of a result's profile. */
std::string conditionsWords(const MeansResult& result)
{
    if (result.parked && result.running)
        return "parked and running";
    return result.parked ? "parked" : "with the engine running";
}

std::string worstDbWords(const MeansResult& result)
{
    const Straying none;
    const Straying& parked = result.parked ? *result.parked : none;
    const Straying& running = result.running ? *result.running : none;
    return dbWords(std::max(parked.sizeDb, running.sizeDb));
}

/** " is 8.4 dB off at 80 Hz (too loud) parked and 3.1 dB off at 2 kHz (too loud) with the engine
    running". */
std::string offBothWords(const MeansResult& result)
{
    std::vector<std::string> parts;
    if (result.parked)
        parts.push_back(offWords(*result.parked) + " parked");
    if (result.running)
        parts.push_back(offWords(*result.running) + " with the engine running");
    return " is " + joined(parts);
}

/** Bands that a result says nothing of; many of them are counted, not named. */
std::string uncountedWords(const MeansResult& result)
{
    constexpr std::size_t mostNamed = 5;
    if (result.untrustedHz.empty())
        return "";
    const std::string words = " (not counted, as they cannot be trusted: ";
    if (result.untrustedHz.size() > mostNamed)
        return words + std::to_string(result.untrustedHz.size()) + " third octaves)";
    return words + bandsWords(result.untrustedHz) + ")";
}

/** The means as the subject of a sentence. */
struct Subject {
    std::string words;
    bool isSetting = false; ///< Of tone controls, not a thing that has a curve.
    bool isSeveral = false;
};

Subject subjectOf(const MeansResult& result)
{
    const std::string profile = profileWords(result.profile);
    const auto numMoved =
        std::ranges::count_if(result.toneSteps, [](int step) { return step != 0; });
    switch (result.means) {
    case Means::toneControls:
    case Means::otherProfileAndToneControls:
        return {"with " + profile + ", "
                    + (result.tuning ? result.tuning->name : std::string("tone controls")),
                true, numMoved != 1};
    case Means::otherProfile: return {profile, false, false};
    case Means::dsp:
        return {"a DSP with " + filtersWords(result.numFilters) + " on " + profile, false, false};
    case Means::nothing: break;
    }
    return {profile + ", left alone,", false, false};
}

std::string conclusionOf(Means means)
{
    switch (means) {
    case Means::nothing: return ", so nothing needs to be changed";
    case Means::dsp: return "";
    default: return ", so no DSP is needed";
    }
}

std::string unavailableReason(const MeansResult& result)
{
    switch (result.means) {
    case Means::toneControls:
        return "No model of this radio's tone controls was given, so they were not tried.";
    case Means::otherProfile: return "No other profile was measured so that it counts.";
    case Means::otherProfileAndToneControls:
        return result.profile.empty()
                   ? "No other profile was measured so that it counts."
                   : "No model of this radio's tone controls was given, so they were not tried "
                     "with another profile.";
    default: return "No filters could be fitted: too little of the range can be trusted.";
    }
}

bool isMissingRunning(const MeansResult& result, const Sufficiency& wanted)
{
    return wanted.counted != CountedStates::parked && !result.running;
}

bool isMissingParked(const MeansResult& result, const Sufficiency& wanted)
{
    return wanted.counted != CountedStates::running && !result.parked;
}

std::string missingWords(const MeansResult& result, const Sufficiency& wanted)
{
    std::string words;
    if (isMissingRunning(result, wanted))
        words += " NOT MEASURED WITH THE ENGINE RUNNING: this radio may change its curve.";
    if (isMissingParked(result, wanted))
        words += " NOT MEASURED PARKED with the engine off.";
    return words;
}

/** The result that comes closest to being enough. */
const MeansResult* closestOf(const Verdict& verdict)
{
    const MeansResult* closest = nullptr;
    double closestDb = 0.0;
    for (const MeansResult& result : verdict.means) {
        if (result.standing == Standing::unavailable)
            continue;
        const double worst = std::max(result.parked ? result.parked->sizeDb : 0.0,
                                      result.running ? result.running->sizeDb : 0.0);
        if (closest == nullptr || worst < closestDb) {
            closest = &result;
            closestDb = worst;
        }
    }
    return closest;
}

std::string nothingSuffices(const Verdict& verdict, const Sufficiency& wanted)
{
    const MeansResult* closest = closestOf(verdict);
    if (closest == nullptr)
        return "Nothing could be judged.";
    const Subject subject = subjectOf(*closest);
    std::string words = "Nothing that was measured or tried is enough. Closest comes this: "
                        + subject.words + (subject.isSetting ? ": the curve" : "")
                        + offBothWords(*closest) + "; " + limitWords(wanted) + " are allowed.";
    const bool isParkedWorst =
        closest->parked
        && (!closest->running || closest->parked->sizeDb >= closest->running->sizeDb);
    const Straying& worst = isParkedWorst ? *closest->parked : *closest->running;
    words += " Most of what is missing lies at " + bandWords(worst.frequencyHz) + ", "
             + dbWords(worst.sizeDb - wanted.withinDb) + " beyond what is allowed "
             + (isParkedWorst ? "parked" : "with the engine running") + ".";
    const MeansResult& dsp = verdict.means.back();
    if (dsp.standing != Standing::unavailable && dsp.leastPossibleDb > wanted.withinDb)
        words += " What is wanted is a profile that plays the same curve parked and running.";
    else if (verdict.means[static_cast<std::size_t>(Means::otherProfile)].standing
             == Standing::unavailable)
        words += " Measure another profile, if the radio has one.";
    return words;
}

} // namespace

std::string profileWords(std::string_view profile)
{
    return profile.empty() ? "the measured profile" : "the " + std::string(profile) + " profile";
}

std::string bandsWords(std::span<const double> bandsHz)
{
    std::vector<std::string> parts;
    for (const double bandHz : bandsHz)
        parts.push_back(bandWords(bandHz));
    return joined(parts);
}

std::string rangeWords(const Sufficiency& sufficiency)
{
    return "from " + setFrequencyWords(sufficiency.fromHz) + " to "
           + setFrequencyWords(sufficiency.toHz);
}

std::string reasonOf(const MeansResult& result, const Sufficiency& sufficiency)
{
    if (result.standing == Standing::unavailable)
        return unavailableReason(result);
    const Subject subject = subjectOf(result);
    if (result.standing == Standing::insufficient) {
        std::string words = subject.words;
        if (subject.isSetting)
            words += " at best: the curve";
        words += offBothWords(result) + "; " + limitWords(sufficiency) + " are allowed";
        if (result.isJust)
            words += ", and the measurements are not certain enough to rule it out";
        words += ".";
        if (result.means == Means::dsp && result.leastPossibleDb > sufficiency.withinDb)
            words += " No setting can do it: this profile's curves parked and running differ so "
                     "much that one of them stays about "
                     + dbWords(result.leastPossibleDb) + " off, whatever is done to both alike.";
        return capitalised(words);
    }
    std::string words = subject.words + (subject.isSeveral ? " stay " : " stays ")
                        + (result.isJust ? "just " : "") + "within " + worstDbWords(result) + " "
                        + rangeWords(sufficiency) + uncountedWords(result) + ", "
                        + conditionsWords(result);
    if (result.isJust)
        words += " (the measurements' own uncertainty reaches beyond the " + limitWords(sufficiency)
                 + " allowed)";
    if (result.standing == Standing::open)
        return capitalised(words) + "." + missingWords(result, sufficiency);
    return capitalised(words + conclusionOf(result.means)) + ".";
}

std::string reasonOf(const ParkedDsp& dsp, const Sufficiency& sufficiency, bool changes)
{
    const std::string start = "Set with the bike parked, a DSP of " + filtersWords(dsp.numFilters)
                              + " brings " + profileWords(dsp.profile) + " to within "
                              + dbWords(dsp.parked.sizeDb) + " parked";
    const bool isEnoughParked = dsp.parked.sizeDb <= sufficiency.withinDb;
    if (dsp.holds)
        return start + (isEnoughParked ? ", and" : ", which is not enough;")
               + " with the engine running it stays within " + dbWords(dsp.running.sizeDb)
               + (isEnoughParked ? ": it holds on the road." : ".");
    return start + (isEnoughParked ? ", but" : ", which is not enough, and")
           + " with the engine running the same setting is " + offWords(dsp.running) + ", where "
           + limitWords(sufficiency) + " are allowed: it fails on the road"
           + (changes ? ", as this radio plays another curve once the engine runs." : ".");
}

std::string sentenceOf(const Verdict& verdict, const Sufficiency& sufficiency)
{
    if (!verdict.chosen)
        return nothingSuffices(verdict, sufficiency);
    const MeansResult& chosen = verdict.means[*verdict.chosen];
    if (chosen.standing == Standing::open)
        return "As far as it was measured: " + chosen.reason;
    if (chosen.means != Means::dsp)
        return chosen.reason;
    const bool isAllTried = std::ranges::all_of(
        verdict.means.begin(), verdict.means.end() - 1,
        [](Standing standing) { return standing == Standing::insufficient; },
        &MeansResult::standing);
    return chosen.reason
           + (isAllTried ? " Nothing less is enough." : " Nothing less was shown to be enough.");
}

} // namespace saddletone::tuning
