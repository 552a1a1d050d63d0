#include "Core/Job/ReportFindings.h"

#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/ToneControls.h"
#include "Core/Tuning/TuningCost.h"
#include "Core/Tuning/Verdict.h"

#include <algorithm>
#include <filesystem>
#include <optional>
#include <system_error>

namespace saddletone::job {

namespace {

/** The first JSON file of a folder of the job by name; none if there is no such folder or file. */
std::optional<std::filesystem::path> firstFileOf(const Job& job, const char* subfolder)
{
    std::optional<std::filesystem::path> first;
    std::error_code missing;
    for (const auto& entry : std::filesystem::directory_iterator(job.folder / subfolder, missing))
        if (entry.path().extension() == ".json" && (!first || entry.path() < *first))
            first = entry.path();
    return first;
}

} // namespace

dsp::Result<void> addNeed(const Job& job, const std::vector<measure::Response>& states,
                          report::ReportContent& content)
{
    tuning::VerdictRequest request;
    request.states = states;
    // What a job has first is how the bike stands.
    if (!content.candidates.empty())
        request.currentProfile = content.candidates.front().radioProfile;
    if (const auto file = firstFileOf(job, "toneControls")) {
        auto controls = tuning::loadToneControls(*file);
        if (!controls)
            return controls.unexpected();
        request.toneControls = *std::move(controls);
    }
    const auto verdict = tuning::giveVerdict(request);
    if (!verdict) {
        content.needDetails = {"What the bike takes at least is not known: "
                               + verdict.error().message};
        return {};
    }
    content.need = verdict->sentence;
    for (const tuning::MeansResult& result : verdict->means)
        if (!result.reason.empty() && result.reason != verdict->sentence)
            content.needDetails.push_back(result.reason);
    if (verdict->parkedDsp && !verdict->parkedDsp->reason.empty())
        content.needDetails.push_back(verdict->parkedDsp->reason);
    content.needDetails.insert(content.needDetails.end(), verdict->notes.begin(),
                               verdict->notes.end());
    return {};
}

dsp::Result<void> addCost(const Job& job, const measure::Response& measured,
                          report::ReportContent& content)
{
    if (!content.proposal)
        return {};
    const tuning::Tuning& proposed = content.candidates[*content.proposal].tuning;
    const auto file = firstFileOf(job, "speakers");
    if (!file || proposed.chains.empty())
        return {};
    auto speaker = tuning::loadSpeaker(*file);
    if (!speaker)
        return speaker.unexpected();

    tuning::CostRequest request;
    request.tuning = proposed;
    request.output = tuning::costedOutput(proposed);
    request.speaker = *std::move(speaker);
    request.amplifier.impedanceOhm = request.speaker.nominalImpedanceOhm;
    if (job.cost.amplifierWatts > 0.0)
        request.amplifier.powerWatts = job.cost.amplifierWatts;
    request.plannedSplDb = job.cost.plannedSplDb;
    request.distanceMetres = job.cost.distanceMetres;
    request.measured = measured;
    auto cost = tuning::computeCost(request);
    if (!cost)
        return cost.unexpected();

    report::ReportCost shown;
    shown.speakerName = request.speaker.name;
    shown.speakerIsInvented = request.speaker.invented;
    shown.xmaxMm = request.speaker.xmaxMm;
    shown.amplifierWatts = request.amplifier.powerWatts;
    shown.amplifierIsAssumed = !(job.cost.amplifierWatts > 0.0);
    shown.plannedSplDb = request.plannedSplDb;
    shown.sentences = tuning::costSentences(request, *cost);
    shown.cost = *std::move(cost);
    content.cost = std::move(shown);
    return {};
}

} // namespace saddletone::job
