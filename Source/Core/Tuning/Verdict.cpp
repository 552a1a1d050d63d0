#include "Core/Tuning/Verdict.h"

#include "Core/Files/TextTable.h"
#include "Core/Measure/Comparison.h"
#include "Core/Tuning/FitCurve.h"
#include "Core/Tuning/ToneControlFit.h"
#include "Core/Tuning/VerdictWords.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <utility>

namespace saddletone::tuning {

namespace {

using files::fixedText;

/** Of the bands in the range, so many have to be trusted for a state to count. Judgement. */
constexpr double leastShareOfBands = 0.5;

/** A measured state that counts. */
struct JudgedState {
    const measure::Response* response = nullptr;
    bool isParked = true;
    ThirdOctaveCurve curve;
};

/** The states of one profile that count, and what is missing. */
struct JudgedProfile {
    std::string name;
    std::vector<JudgedState> states;
    bool isComplete = false; ///< Every condition that counts was measured.

    [[nodiscard]] bool has(bool isParked) const
    {
        return std::ranges::any_of(
            states, [&](const JudgedState& state) { return state.isParked == isParked; });
    }
};

bool isParked(const measure::BikeState& state)
{
    return state.engine == measure::EngineState::off && !(state.speedKmh > 0.0);
}

bool counts(CountedStates counted, bool parked)
{
    return counted == CountedStates::parkedAndRunning
           || (counted == CountedStates::parked) == parked;
}

std::string stateWords(const measure::Response& response)
{
    return "'" + response.name + "'";
}

std::optional<dsp::Error> faultOf(const VerdictRequest& request)
{
    const Sufficiency& wanted = request.sufficiency;
    const auto wrong = [](const std::string& message) {
        return dsp::Error {dsp::ErrorCode::outOfRange, message};
    };
    if (request.states.empty())
        return wrong("no verdict without a measured state");
    for (const measure::Response& response : request.states)
        if (response.state.speakers != request.states.front().state.speakers)
            return wrong("'" + response.name + "' was measured of the "
                         + measure::speakerGroupWords(response.state.speakers) + " speakers and '"
                         + request.states.front().name + "' of the "
                         + measure::speakerGroupWords(request.states.front().state.speakers)
                         + " ones; a verdict is on states of the same speakers");
    if (!(wanted.withinDb >= 0.5 && wanted.withinDb <= 20.0))
        return wrong("what is good enough must be 0.5 dB to 20 dB, but is "
                     + fixedText(wanted.withinDb, 2) + " dB");
    if (!(wanted.fromHz >= 20.0 && wanted.toHz <= 20000.0 && wanted.toHz >= 2.0 * wanted.fromHz))
        return wrong("the range must lie within 20 Hz to 20000 Hz and span an octave or more, but "
                     "is "
                     + fixedText(wanted.fromHz, 0) + " Hz to " + fixedText(wanted.toHz, 0) + " Hz");
    if (request.maxFilters < 1 || request.maxFilters > mostFilters)
        return wrong("the most filters must be 1 to " + std::to_string(mostFilters) + ", but are "
                     + std::to_string(request.maxFilters));
    return std::nullopt;
}

/** Profiles in the order of their first states. */
std::vector<std::string> profilesOf(const std::vector<measure::Response>& states)
{
    std::vector<std::string> profiles;
    for (const measure::Response& response : states)
        if (std::ranges::find(profiles, response.state.radioProfile) == profiles.end())
            profiles.push_back(response.state.radioProfile);
    return profiles;
}

dsp::Result<std::string> currentProfile(const VerdictRequest& request)
{
    const auto profiles = profilesOf(request.states);
    std::string names;
    for (const std::string& profile : profiles)
        names += (names.empty() ? "'" : ", '") + profile + "'";
    if (std::ranges::find(profiles, request.currentProfile) != profiles.end())
        return request.currentProfile;
    if (!request.currentProfile.empty())
        return dsp::fail(dsp::ErrorCode::notFound, "the profile in use, '" + request.currentProfile
                                                       + "', was not measured; measured were "
                                                       + names);
    if (profiles.size() > 1)
        return dsp::fail(dsp::ErrorCode::notFound, "several profiles were measured (" + names
                                                       + "); say which of them is in use now");
    return profiles.front();
}

JudgedProfile judgeProfile(const VerdictRequest& request, const std::string& name,
                           std::vector<std::string>& notes)
{
    const Sufficiency& wanted = request.sufficiency;
    JudgedProfile profile;
    profile.name = name;
    for (const measure::Response& response : request.states) {
        const bool parked = isParked(response.state);
        if (response.state.radioProfile != name || !counts(wanted.counted, parked))
            continue;
        auto curve = thirdOctaveCurve(response, wanted.target, wanted.fromHz, wanted.toHz);
        const std::size_t numBands = curve.bands.size() + curve.untrustedHz.size();
        if (curve.bands.size() < 2
            || static_cast<double>(curve.bands.size())
                   < leastShareOfBands * static_cast<double>(numBands)) {
            notes.push_back(stateWords(response) + " does not count: only "
                            + std::to_string(curve.bands.size()) + " of its "
                            + std::to_string(numBands)
                            + " bands can be trusted; measure again, louder or with more takes");
            continue;
        }
        profile.states.push_back({&response, parked, std::move(curve)});
    }
    profile.isComplete = (!counts(wanted.counted, true) || profile.has(true))
                         && (!counts(wanted.counted, false) || profile.has(false));
    return profile;
}

/** Sets a profile's states against the limit, with a tuning or without. */
MeansResult judge(Means means, const JudgedProfile& profile, const Sufficiency& wanted,
                  const std::optional<Tuning>& tuning)
{
    MeansResult result;
    result.means = means;
    result.profile = profile.name;
    result.tuning = tuning;
    if (profile.states.empty())
        return result;
    bool isWithin = true;
    bool mayBeBeyond = false;
    bool mayBeWithin = true;
    for (const JudgedState& state : profile.states) {
        const Straying straying =
            tuning ? strayingOf(state.curve, *tuning) : strayingOf(state.curve);
        isWithin = isWithin && straying.sizeDb <= wanted.withinDb;
        mayBeBeyond = mayBeBeyond || straying.sizeDb + straying.interval95Db > wanted.withinDb;
        mayBeWithin = mayBeWithin && straying.sizeDb - straying.interval95Db <= wanted.withinDb;
        auto& worst = state.isParked ? result.parked : result.running;
        if (!worst || straying.sizeDb > worst->sizeDb)
            worst = straying;
        std::ranges::copy(state.curve.untrustedHz, std::back_inserter(result.untrustedHz));
    }
    std::ranges::sort(result.untrustedHz);
    result.untrustedHz.erase(std::unique(result.untrustedHz.begin(), result.untrustedHz.end()),
                             result.untrustedHz.end());
    result.isJust = isWithin ? mayBeBeyond : mayBeWithin;
    result.standing = Standing::insufficient;
    if (isWithin)
        result.standing = profile.isComplete ? Standing::sufficient : Standing::open;
    return result;
}

double worstDb(const MeansResult& result)
{
    return std::max(result.parked ? result.parked->sizeDb : 0.0,
                    result.running ? result.running->sizeDb : 0.0);
}

/** Whether one result of a means speaks more for it than another. */
bool isBetter(const MeansResult& result, const MeansResult& than)
{
    return result.standing != than.standing ? result.standing < than.standing
                                            : worstDb(result) < worstDb(than);
}

std::vector<ThirdOctaveCurve> curvesOf(const JudgedProfile& profile)
{
    std::vector<ThirdOctaveCurve> curves;
    for (const JudgedState& state : profile.states)
        curves.push_back(state.curve);
    return curves;
}

MeansResult judgeToneControls(Means means, const JudgedProfile& profile,
                              const VerdictRequest& request)
{
    if (profile.states.empty() || !request.toneControls)
        return judge(means, {profile.name, {}, false}, request.sufficiency, std::nullopt);
    const auto fit = fitToneControlsToWorst(curvesOf(profile), *request.toneControls);
    MeansResult result = judge(means, profile, request.sufficiency, fit.tuning);
    result.toneSteps = fit.steps;
    return result;
}

enum class FittedStates { parkedOnly, all };

/** The fewest filters that suffice for the states they are fitted to, or the best found. */
MeansResult judgeFilters(const JudgedProfile& profile, const VerdictRequest& request,
                         FittedStates fitted)
{
    const Sufficiency& wanted = request.sufficiency;
    MeansResult best;
    best.means = Means::dsp;
    best.profile = profile.name;
    // A band reaches a sixth of an octave beyond its middle, where the range is counted from.
    const double halfBand = std::pow(10.0, 0.05);
    const FitRange range {wanted.fromHz / halfBand, wanted.toHz * halfBand};
    JudgedProfile fittedProfile {profile.name, {}, true};
    std::vector<FitCurve> curves;
    for (const JudgedState& state : profile.states) {
        if (fitted == FittedStates::parkedOnly && !state.isParked)
            continue;
        auto curve = makeFitCurve(*state.response, wanted.target, range);
        if (!curve)
            return best;
        curves.push_back(std::move(*curve));
        fittedProfile.states.push_back(state);
    }
    if (curves.empty())
        return best;
    fittedProfile.isComplete = fitted == FittedStates::parkedOnly || profile.isComplete;
    for (int numFilters = 1; numFilters <= request.maxFilters; ++numFilters) {
        auto fit = fitFilters(curves, request.filterLimits, numFilters);
        if (!fit)
            return best;
        fit->tuning.name = "DSP for " + profileWords(profile.name);
        MeansResult result = judge(Means::dsp, fittedProfile, wanted, std::move(fit->tuning));
        result.numFilters = fit->numFilters;
        if (isBetter(result, best))
            best = std::move(result);
        if (best.standing != Standing::insufficient)
            break;
    }
    return best;
}

/** What a setting that acts on both curves alike cannot fall below: whatever it adds, the span of
    the curves' difference stays, and each curve can take up half of it; a curve strays by half its
    own span. */
double leastPossibleDb(const JudgedProfile& profile)
{
    double least = 0.0;
    for (const JudgedState& parked : profile.states)
        for (const JudgedState& running : profile.states) {
            if (!parked.isParked || running.isParked)
                continue;
            double lowest = std::numeric_limits<double>::max();
            double highest = std::numeric_limits<double>::lowest();
            for (const ThirdOctave& band : parked.curve.bands) {
                const auto same = std::ranges::find(running.curve.bands, band.frequencyHz,
                                                    &ThirdOctave::frequencyHz);
                if (same == running.curve.bands.end())
                    continue;
                lowest = std::min(lowest, same->deviationDb - band.deviationDb);
                highest = std::max(highest, same->deviationDb - band.deviationDb);
            }
            least = std::max(least, 0.25 * (highest - lowest));
        }
    return least;
}

/** Another curve with the engine running, beyond what the measurements leave open. */
bool changesWithEngine(const JudgedProfile& profile)
{
    for (const JudgedState& parked : profile.states)
        for (const JudgedState& running : profile.states)
            if (parked.isParked && !running.isParked
                && measure::compareResponses(*parked.response, *running.response).significant)
                return true;
    return false;
}

std::optional<ParkedDsp> judgeParkedDsp(const JudgedProfile& profile, const VerdictRequest& request)
{
    if (!profile.has(true) || !profile.has(false))
        return std::nullopt;
    const MeansResult parked = judgeFilters(profile, request, FittedStates::parkedOnly);
    if (!parked.tuning)
        return std::nullopt;
    const MeansResult both = judge(Means::dsp, profile, request.sufficiency, parked.tuning);
    ParkedDsp dsp {profile.name,
                   parked.numFilters,
                   *parked.tuning,
                   *both.parked,
                   *both.running,
                   both.running->sizeDb <= request.sufficiency.withinDb,
                   ""};
    dsp.reason = reasonOf(dsp, request.sufficiency, changesWithEngine(profile));
    return dsp;
}

/** Bands that do not count, state by state. */
std::vector<std::string> untrustedNotes(const std::vector<JudgedProfile>& profiles)
{
    std::vector<std::string> notes;
    for (const JudgedProfile& profile : profiles)
        for (const JudgedState& state : profile.states)
            if (!state.curve.untrustedHz.empty())
                notes.push_back("not counted, as " + stateWords(*state.response)
                                + " cannot be trusted there: "
                                + bandsWords(state.curve.untrustedHz));
    return notes;
}

/** What was not measured of a profile, loudly. */
void addMissing(const JudgedProfile& profile, const Sufficiency& wanted,
                std::vector<std::string>& notes)
{
    if (counts(wanted.counted, false) && !profile.has(false))
        notes.push_back(profileWords(profile.name)
                        + " was NOT MEASURED WITH THE ENGINE RUNNING: this radio may change its "
                          "curve");
    if (counts(wanted.counted, true) && !profile.has(true))
        notes.push_back(profileWords(profile.name)
                        + " was NOT MEASURED PARKED with the engine off");
}

/** What the states differ in that makes their curves differ beside profile and engine. */
void addDifferences(const std::vector<measure::Response>& states, std::vector<std::string>& notes)
{
    const measure::BikeState& first = states.front().state;
    if (std::ranges::any_of(states, [&](const measure::Response& response) {
            return response.state.microphonePlace != first.microphonePlace;
        }))
        notes.emplace_back("the states were measured at different microphone places, so a part of "
                           "what sets them apart may be the place");
    if (std::ranges::any_of(states, [&](const measure::Response& response) {
            return response.state.volumeStep != first.volumeStep;
        }))
        notes.emplace_back("the states were measured at different volume steps; many radios play "
                           "another curve at another volume");
    if (std::ranges::any_of(states, &measure::Response::invented))
        notes.emplace_back("invented data: a demonstration, not a bike");
}

MeansResult bestOf(std::vector<MeansResult> results, Means means)
{
    if (results.empty()) {
        MeansResult none;
        none.means = means;
        return none;
    }
    std::size_t best = 0;
    for (std::size_t index = 1; index < results.size(); ++index)
        if (isBetter(results[index], results[best]))
            best = index;
    return std::move(results[best]);
}

std::optional<std::size_t> smallestWith(Standing standing, const std::vector<MeansResult>& means)
{
    const auto found = std::ranges::find(means, standing, &MeansResult::standing);
    if (found == means.end())
        return std::nullopt;
    return static_cast<std::size_t>(found - means.begin());
}

} // namespace

std::string_view meansName(Means means) noexcept
{
    switch (means) {
    case Means::toneControls: return "tone-controls";
    case Means::otherProfile: return "other-profile";
    case Means::otherProfileAndToneControls: return "other-profile-and-tone-controls";
    case Means::dsp: return "dsp";
    case Means::nothing: break;
    }
    return "nothing";
}

std::string_view standingName(Standing standing) noexcept
{
    switch (standing) {
    case Standing::sufficient: return "sufficient";
    case Standing::open: return "open";
    case Standing::insufficient: return "insufficient";
    case Standing::unavailable: break;
    }
    return "unavailable";
}

dsp::Result<Verdict> giveVerdict(const VerdictRequest& request)
{
    if (const auto fault = faultOf(request))
        return dsp::fail(fault->code, fault->message);
    const auto current = currentProfile(request);
    if (!current)
        return current.unexpected();

    Verdict verdict;
    std::vector<std::string> uncounted;
    JudgedProfile inUse = judgeProfile(request, *current, uncounted);
    std::vector<JudgedProfile> others;
    for (const std::string& name : profilesOf(request.states))
        if (name != *current)
            if (JudgedProfile other = judgeProfile(request, name, uncounted); !other.states.empty())
                others.push_back(std::move(other));
    const Sufficiency& wanted = request.sufficiency;
    if (inUse.states.empty()) {
        std::string message = "no verdict: " + profileWords(*current)
                              + ", which is in use now, has no measured state that counts";
        for (const std::string& reason : uncounted)
            message += "; " + reason;
        return dsp::fail(dsp::ErrorCode::notTrustworthy, message);
    }

    std::vector<MeansResult> plain;
    std::vector<MeansResult> toned;
    for (const JudgedProfile& other : others) {
        plain.push_back(judge(Means::otherProfile, other, wanted, std::nullopt));
        toned.push_back(judgeToneControls(Means::otherProfileAndToneControls, other, request));
    }
    verdict.means = {judge(Means::nothing, inUse, wanted, std::nullopt),
                     judgeToneControls(Means::toneControls, inUse, request),
                     bestOf(std::move(plain), Means::otherProfile),
                     bestOf(std::move(toned), Means::otherProfileAndToneControls),
                     judgeFilters(inUse, request, FittedStates::all)};
    MeansResult& dsp = verdict.means.back();
    const JudgedProfile* dspProfile = &inUse;
    for (const JudgedProfile& other : others)
        if (dsp.standing != Standing::sufficient)
            if (MeansResult result = judgeFilters(other, request, FittedStates::all);
                isBetter(result, dsp)) {
                dsp = std::move(result);
                dspProfile = &other;
            }
    dsp.leastPossibleDb = leastPossibleDb(*dspProfile);
    for (MeansResult& result : verdict.means)
        result.reason = reasonOf(result, wanted);
    verdict.parkedDsp = judgeParkedDsp(inUse, request);
    if (!verdict.parkedDsp)
        verdict.parkedDsp = judgeParkedDsp(*dspProfile, request);

    verdict.chosen = smallestWith(Standing::sufficient, verdict.means);
    const auto smallestOpen = smallestWith(Standing::open, verdict.means);
    if (!verdict.chosen)
        verdict.chosen = smallestOpen;
    else if (smallestOpen && *smallestOpen < *verdict.chosen)
        verdict.notes.push_back("less may do: " + verdict.means[*smallestOpen].reason);
    addMissing(inUse, wanted, verdict.notes);
    for (const JudgedProfile& other : others)
        addMissing(other, wanted, verdict.notes);
    std::ranges::move(uncounted, std::back_inserter(verdict.notes));
    std::vector<JudgedProfile> all;
    all.push_back(std::move(inUse));
    std::ranges::move(others, std::back_inserter(all));
    std::ranges::move(untrustedNotes(all), std::back_inserter(verdict.notes));
    if (request.toneControls && request.toneControls->status() == ToneControlStatus::assumed)
        verdict.notes.emplace_back("the tone controls are assumed, not measured: identify them "
                                   "from measurements before relying on their steps");
    addDifferences(request.states, verdict.notes);
    verdict.sentence = sentenceOf(verdict, wanted);
    return verdict;
}

} // namespace saddletone::tuning
