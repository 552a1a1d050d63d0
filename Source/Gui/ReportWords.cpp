#include "Gui/ReportWords.h"

#include "Core/Report/Wording.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

juce::String toWords(const std::string& utf8)
{
    return juce::String::fromUTF8(utf8.c_str());
}

juce::String countWords(std::size_t count, const char* one, const char* many)
{
    return juce::String(count) + " " + (count == 1 ? one : many);
}

juce::String stateSentence(const report::ReportState& state)
{
    juce::String words = toWords(report::marked(state.curve.mark, state.name));
    words << " (" << countWords(state.numTakes, "take", "takes") << ", SNR "
          << static_cast<int>(std::lround(state.snrDb)) << " dB, "
          << (state.calibration ? "calibrated" : "levels relative") << ")";
    return words;
}

juce::String candidateSentence(std::size_t index, const report::ReportCandidate& candidate)
{
    return juce::String(index + 1) + ". " + toWords(candidate.name) + ": "
           + toWords(candidate.settings);
}

bool isRunning(const report::ReportState& state)
{
    return state.conditions.engine != measure::EngineState::off;
}

} // namespace

std::optional<FindingView> reportFinding(const JobSnapshot& snapshot)
{
    if (snapshot.open == nullptr)
        return FindingView {"Open a job to see what its report holds.", {}, false};
    if (snapshot.report.problem.isNotEmpty())
        return FindingView {snapshot.report.problem, {}, true};
    if (snapshot.report.content == nullptr)
        return std::nullopt;
    const report::ReportContent& content = *snapshot.report.content;
    FindingView finding;
    finding.headline = toWords(content.question);
    if (content.invented)
        finding.sentences.add("Invented demo data: the report says so on every page.");

    juce::StringArray states;
    for (const report::ReportState& state : content.states)
        states.add(stateSentence(state));
    finding.sentences.add("Measured: " + states.joinIntoString("; ") + ".");
    for (const report::ReportComparison& each : content.comparisons)
        finding.sentences.add("Compared, " + toWords(each.parkedName) + " with "
                              + toWords(each.otherName) + ": "
                              + toWords(report::verdictSentence(each.other, each.comparison)));
    for (const std::string& note : content.comparisonNotes)
        finding.sentences.add(toWords(note));

    for (std::size_t index = 0; index < content.candidates.size(); ++index)
        finding.sentences.add("Candidate " + candidateSentence(index, content.candidates[index]));
    if (const auto& proposed = snapshot.open->proposed;
        proposed && *proposed < content.candidates.size())
        finding.sentences.add("Proposed: candidate " + juce::String(*proposed + 1) + ", "
                              + toWords(content.candidates[*proposed].name) + ".");

    for (const report::ReportBlindRun& run : content.blindRuns)
        finding.sentences.add("Heard blind, " + toWords(run.candidates) + ": "
                              + toWords(run.outcome));
    if (content.blindRuns.empty())
        finding.sentences.add("Heard blind: nothing yet.");
    juce::StringArray cautions;
    for (const std::string& caution : content.cautions)
        cautions.add(toWords(caution));
    if (!cautions.isEmpty())
        finding.sentences.add("Cautions: " + cautions.joinIntoString(" "));
    return finding;
}

std::vector<ReportGap> reportGaps(const JobSnapshot& snapshot, bool hasUnsavedTuning)
{
    std::vector<ReportGap> gaps;
    if (snapshot.open == nullptr)
        return gaps;
    const OpenJobView& job = *snapshot.open;
    if (job.numStates == 0) {
        gaps.push_back({"Nothing is measured yet, and without a measurement there is no report.",
                        Place::bike});
    } else if (const report::ReportContent* const content = snapshot.report.content.get()) {
        const auto& states = content->states;
        if (std::ranges::none_of(states, isRunning))
            gaps.push_back({"No state with the engine running: many radios play another curve "
                            "then.",
                            Place::bike});
        if (std::ranges::all_of(states, isRunning))
            gaps.push_back({"No state with the engine off to compare with.", Place::bike});
        if (std::ranges::any_of(
                states, [](const report::ReportState& state) { return state.numTakes < 2; }))
            gaps.push_back({"A state rests on one take: a second one tells how far they spread.",
                            Place::bike});
        if (std::ranges::none_of(states, [](const report::ReportState& state) {
                return state.calibration.has_value();
            }))
            gaps.push_back(
                {"Levels are relative: record a calibrator's tone with the takes.", Place::bike});
        if (std::ranges::all_of(content->candidates, [](const report::ReportCandidate& each) {
                return each.settings == report::tuningWords({});
            }))
            gaps.push_back(
                {"No candidate has a tuning: there is nothing to propose.", Place::tuning});
    }
    if (hasUnsavedTuning)
        gaps.push_back({"The tuning on the screen is not saved: the report has the saved one.",
                        Place::tuning});
    if (job.candidates.size() > 1 && job.numBlindRuns == 0)
        gaps.push_back({"Nothing was heard blind yet.", Place::listen});
    if (job.candidates.size() > 1 && !job.proposed)
        gaps.push_back({"No candidate is proposed: choose one on the left.", Place::report});
    if (job.fields.question.isEmpty())
        gaps.push_back(
            {"The customer's question is not written down: type it on the left.", Place::report});
    if (job.fields.bike.isEmpty())
        gaps.push_back(
            {"Which bike it is is not written down: type it on the left.", Place::report});
    return gaps;
}

} // namespace saddletone::gui
