#include "CommandLine/FileArguments.h"
#include "CommandLine/JobArgument.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Files/TextTable.h"
#include "Core/Job/Job.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/FitTarget.h"
#include "Core/Tuning/ToneControlIdentification.h"
#include "Core/Tuning/ToneControls.h"
#include "Core/Tuning/TuningFile.h"
#include "Core/Tuning/Verdict.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

std::string noteLines(std::span<const std::string> notes)
{
    std::string text;
    for (const std::string& note : notes)
        text += "note: " + note + "\n";
    return text;
}

struct ToneControlsOptions {
    std::string reference;
    std::vector<std::string> moved;
    std::string control;
    int fromStep = 0;
    std::vector<int> toSteps;
    int stepsDown = -6;
    int stepsUp = 6;
    std::string name = "Radio";
    std::string out;
};

std::string kindWords(tuning::ElementType type)
{
    switch (type) {
    case tuning::ElementType::peaking: return "a peaking filter";
    case tuning::ElementType::highShelf: return "a high shelf";
    default: return "a low shelf";
    }
}

Output describeControl(const tuning::IdentifiedToneControl& identified,
                       const ToneControlsOptions& options)
{
    const tuning::ToneControl& control = identified.control;
    Output output;
    output.text =
        options.out + ": " + control.name + " is " + kindWords(control.type) + " at "
        + fixedText(control.frequencyHz, control.frequencyHz < 1000.0 ? 1 : 0) + " Hz, Q "
        + fixedText(control.q, 2) + ", " + fixedText(control.stepDb, 2) + " dB a step, "
        + fixedText(control.lowestDb, 1) + " dB to " + fixedText(control.highestDb, 1) + " dB\n"
        + "left unexplained: " + fixedText(identified.rmsDb, 2) + " dB RMS over "
        + std::to_string(identified.numBands)
        + " third octaves (the measurements' uncertainty: " + fixedText(identified.expectedRmsDb, 2)
        + " dB), at most " + fixedText(identified.largestDb, 2) + " dB at "
        + dsp::nominalLabel(identified.largestAtHz) + " Hz\n" + noteLines(identified.remarks);
    output.json = {{"model", options.out},
                   {"control",
                    {{"name", control.name},
                     {"type", tuning::elementTypeName(control.type)},
                     {"frequencyHz", control.frequencyHz},
                     {"q", control.q},
                     {"stepDb", control.stepDb},
                     {"lowestDb", control.lowestDb},
                     {"highestDb", control.highestDb}}},
                   {"numBands", identified.numBands},
                   {"rmsDb", identified.rmsDb},
                   {"expectedRmsDb", identified.expectedRmsDb},
                   {"largestDb", identified.largestDb},
                   {"largestAtHz", identified.largestAtHz},
                   {"levelDifferenceDb", identified.levelDb},
                   {"notes", identified.remarks}};
    return output;
}

Outcome runToneControls(const ToneControlsOptions& options)
{
    if (options.moved.size() != options.toSteps.size())
        return usageFailure("tone-controls: every --moved needs a --to-step of its own; there are "
                            + std::to_string(options.moved.size()) + " and "
                            + std::to_string(options.toSteps.size()));
    std::vector<std::string> states = options.moved;
    states.push_back(options.reference);
    if (auto failure = checkOutputs(filesOfStates(states), {options.out}))
        return *std::move(failure);
    tuning::ToneControls model {options.name, {}};
    std::error_code ignored;
    if (std::filesystem::exists(options.out, ignored)) {
        auto existing = tuning::loadToneControls(options.out);
        if (!existing)
            return inputFailure(existing.error());
        model = std::move(*existing);
    }
    std::vector<tuning::ToneSetting> settings;
    for (std::size_t index = 0; index <= options.moved.size(); ++index) {
        auto response =
            measure::loadResponse(index == 0 ? options.reference : options.moved[index - 1]);
        if (!response)
            return inputFailure(response.error());
        settings.push_back(
            {std::move(*response), index == 0 ? options.fromStep : options.toSteps[index - 1]});
    }
    showProgress("looking for the control");
    const auto identified = tuning::identifyToneControl(
        settings, {options.control, options.stepsDown, options.stepsUp});
    if (!identified)
        return inputFailure(identified.error());
    if (const auto added = tuning::setToneControl(model, identified->control); !added)
        return inputFailure(added.error());
    if (const auto saved = tuning::saveToneControls(model, options.out); !saved)
        return inputFailure(saved.error());
    return describeControl(*identified, options);
}

void addToneControls(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<ToneControlsOptions>();
    CLI::App* verb =
        addVerb(app, "tone-controls",
                "Find a radio's own tone control from measurements at two of its steps");
    addOption(*verb, "--reference", options->reference,
              "State measured with the control at --from-step (STATE.json)")
        ->required();
    addOption(*verb, "--moved", options->moved,
              "State measured with the control at --to-step and nothing else changed; "
              "several for several steps")
        ->required();
    addOption(*verb, "--control", options->control, "What the radio calls the control: bass")
        ->required();
    addOption(*verb, "--from-step", options->fromStep, "Step at the reference, as the radio shows")
        ->capture_default_str();
    addOption(*verb, "--to-step", options->toSteps, "Step at the moved state; one for each")
        ->required();
    addOption(*verb, "--steps-down", options->stepsDown, "Lowest step of the control")
        ->check(CLI::Range(-100, 0))
        ->capture_default_str();
    addOption(*verb, "--steps-up", options->stepsUp, "Highest step of the control")
        ->check(CLI::Range(0, 100))
        ->capture_default_str();
    addOption(*verb, "--name", options->name, "What a new model is called")->capture_default_str();
    addOption(*verb, "--out", options->out,
              "MODEL.json to write; the control is added to a model that exists, or takes "
              "the place of the one of its name")
        ->required();
    verb->callback(
        [options, &shared] { shared.action = [options] { return runToneControls(*options); }; });
}

struct VerdictOptions {
    std::vector<std::string> states;
    std::string job;
    std::string current;
    std::string toneControls;
    tuning::Sufficiency sufficiency;
    std::string target = "flat";
    std::string count = "both";
    int maxFilters = tuning::mostFilters;
    std::string out;
};

struct CountName {
    std::string_view name;
    tuning::CountedStates counted;
};

constexpr std::array countNames {CountName {"parked", tuning::CountedStates::parked},
                                 CountName {"running", tuning::CountedStates::running},
                                 CountName {"both", tuning::CountedStates::parkedAndRunning}};

std::string numberWords(double value)
{
    std::string text = fixedText(value, 1);
    if (text.ends_with(".0"))
        text.erase(text.size() - 2);
    return text;
}

nlohmann::json strayingJson(const std::optional<tuning::Straying>& straying)
{
    if (!straying)
        return nullptr;
    return {{"largestDb", straying->sizeDb},
            {"atHz", straying->frequencyHz},
            {"tooLoud", straying->isAbove},
            {"interval95Db", straying->interval95Db}};
}

nlohmann::json meansJson(const tuning::MeansResult& result,
                         const std::optional<tuning::ToneControls>& controls)
{
    nlohmann::json json {{"means", tuning::meansName(result.means)},
                         {"standing", tuning::standingName(result.standing)},
                         {"profile", result.profile},
                         {"isJust", result.isJust},
                         {"parked", strayingJson(result.parked)},
                         {"running", strayingJson(result.running)},
                         {"untrustedHz", result.untrustedHz},
                         {"reason", result.reason}};
    if (controls && !result.toneSteps.empty())
        for (std::size_t index = 0; index < result.toneSteps.size(); ++index)
            json["toneSteps"][controls->controls[index].name] = result.toneSteps[index];
    if (result.tuning)
        json["tuning"] = tuning::tuningToJson(*result.tuning);
    if (result.means == tuning::Means::dsp) {
        json["numFilters"] = result.numFilters;
        json["leastPossibleDb"] = result.leastPossibleDb;
    }
    return json;
}

nlohmann::json verdictJson(const tuning::Verdict& verdict, const tuning::VerdictRequest& request,
                           const VerdictOptions& options)
{
    const tuning::Sufficiency& wanted = request.sufficiency;
    nlohmann::json means = nlohmann::json::array();
    for (const tuning::MeansResult& result : verdict.means)
        means.push_back(meansJson(result, request.toneControls));
    nlohmann::json json {{"verdict", nullptr},
                         {"standing", nullptr},
                         {"sentence", verdict.sentence},
                         {"notes", verdict.notes},
                         {"means", std::move(means)},
                         {"dspSetParked", nullptr},
                         {"goodEnough",
                          {{"withinDb", wanted.withinDb},
                           {"fromHz", wanted.fromHz},
                           {"toHz", wanted.toHz},
                           {"target", wanted.target.name},
                           {"counted", options.count}}}};
    if (verdict.chosen) {
        const tuning::MeansResult& chosen = verdict.means[*verdict.chosen];
        json["verdict"] = tuning::meansName(chosen.means);
        json["standing"] = tuning::standingName(chosen.standing);
        json["profile"] = chosen.profile;
    }
    if (const auto& parked = verdict.parkedDsp)
        json["dspSetParked"] = {{"profile", parked->profile},
                                {"numFilters", parked->numFilters},
                                {"parked", strayingJson(parked->parked)},
                                {"running", strayingJson(parked->running)},
                                {"holds", parked->holds},
                                {"tuning", tuning::tuningToJson(parked->tuning)},
                                {"reason", parked->reason}};
    return json;
}

std::string meansTitle(tuning::Means means)
{
    switch (means) {
    case tuning::Means::toneControls: return "tone controls";
    case tuning::Means::otherProfile: return "another profile";
    case tuning::Means::otherProfileAndToneControls: return "another profile with tone controls";
    case tuning::Means::dsp: return "DSP";
    case tuning::Means::nothing: break;
    }
    return "nothing";
}

std::string verdictText(const tuning::Verdict& verdict, const tuning::Sufficiency& wanted)
{
    std::string text = verdict.sentence + "\n\ngood enough: within " + numberWords(wanted.withinDb)
                       + " dB of the target (" + wanted.target.name + "), "
                       + numberWords(wanted.fromHz) + " Hz to " + numberWords(wanted.toHz)
                       + " Hz, in third octaves, at the level that suits each curve best\n";
    for (const tuning::MeansResult& result : verdict.means)
        text += meansTitle(result.means) + ": " + std::string(tuning::standingName(result.standing))
                + (result.isJust && result.standing != tuning::Standing::unavailable
                       ? ", by less than the measurements can tell"
                       : "")
                + ". " + result.reason + "\n";
    if (verdict.parkedDsp)
        text += "DSP set parked: " + verdict.parkedDsp->reason + "\n";
    return text + noteLines(verdict.notes);
}

/** Files of the states: those named, or all of a job. */
dsp::Result<std::vector<std::string>> stateFiles(const VerdictOptions& options)
{
    if (options.job.empty())
        return options.states;
    const auto job = loadJobArgument(options.job);
    if (!job)
        return job.unexpected();
    std::vector<std::string> stateFiles;
    for (const job::JobState& state : job->states) {
        const auto file = job::resolveInside(job->folder, state.file);
        if (!file)
            return file.unexpected();
        stateFiles.push_back(file->string());
    }
    return stateFiles;
}

Outcome runVerdict(const VerdictOptions& options)
{
    if (options.states.empty() == options.job.empty())
        return usageFailure("verdict takes either --state, once or more, or --job");
    if (!(options.sufficiency.toHz >= 2.0 * options.sufficiency.fromHz))
        return usageFailure("verdict: --to has to lie an octave or more above --from");
    const auto stateNames = stateFiles(options);
    if (!stateNames)
        return inputFailure(stateNames.error());
    std::vector<std::string> states = *stateNames;
    if (options.target != "flat")
        states.push_back(options.target);
    std::vector<std::string> inputs = filesOfStates(states);
    inputs.push_back(options.toneControls);
    if (!options.job.empty())
        inputs.push_back((std::filesystem::path(options.job) / "job.json").string());
    if (auto failure = checkOutputs(inputs, {options.out}))
        return *std::move(failure);

    tuning::VerdictRequest request;
    request.currentProfile = options.current;
    request.maxFilters = options.maxFilters;
    request.sufficiency = options.sufficiency;
    request.sufficiency.counted =
        std::ranges::find(countNames, options.count, &CountName::name)->counted;
    for (const std::string& file : *stateNames) {
        auto response = measure::loadResponse(file);
        if (!response)
            return inputFailure(response.error());
        request.states.push_back(std::move(*response));
    }
    if (options.target != "flat") {
        auto target = tuning::loadTarget(options.target);
        if (!target)
            return inputFailure(target.error());
        request.sufficiency.target = std::move(*target);
    }
    if (!options.toneControls.empty()) {
        auto controls = tuning::loadToneControls(options.toneControls);
        if (!controls)
            return inputFailure(controls.error());
        request.toneControls = std::move(*controls);
    }
    showProgress("trying tone controls, profiles and filters");
    const auto verdict = tuning::giveVerdict(request);
    if (!verdict)
        return inputFailure(verdict.error());

    Output output;
    output.text = verdictText(*verdict, request.sufficiency);
    output.json = verdictJson(*verdict, request, options);
    if (!options.out.empty()) {
        const auto& chosen = verdict->chosen;
        const auto found = chosen ? verdict->means[*chosen].tuning : std::nullopt;
        if (found) {
            if (const auto saved = tuning::saveTuning(*found, options.out); !saved)
                return inputFailure(saved.error());
            output.text += options.out + ": " + found->name + "\n";
            output.json["tuningFile"] = options.out;
        } else {
            output.text += "note: no tuning belongs to this verdict, so '" + options.out
                           + "' was not written\n";
        }
    }
    return output;
}

void addVerdict(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<VerdictOptions>();
    CLI::App* verb = addVerb(
        app, "verdict", "Say what a bike takes: nothing, tone controls, another profile, or a DSP");
    addOption(*verb, "--state", options->states, "Measured state (STATE.json); several");
    addOption(*verb, "--job", options->job, "Folder of a job: all of its states");
    addOption(*verb, "--current", options->current,
              "Radio profile in use now; needed where several were measured");
    addOption(*verb, "--tone-controls", options->toneControls,
              "MODEL.json of the radio's own tone controls")
        ->transform(fileOrPreset(presets::PresetKind::toneControls));
    addOption(*verb, "--within", options->sufficiency.withinDb,
              "Good enough: deviation from the target in dB that is allowed")
        ->check(withinRange(0.5, 20.0))
        ->capture_default_str();
    addOption(*verb, "--from", options->sufficiency.fromHz, "Lowest frequency that counts, in Hz")
        ->check(withinRange(20.0, 20000.0))
        ->capture_default_str();
    addOption(*verb, "--to", options->sufficiency.toHz, "Highest frequency that counts, in Hz")
        ->check(withinRange(20.0, 20000.0))
        ->capture_default_str();
    addOption(*verb, "--target", options->target,
              "flat, or a file: saddletone-target, table, or a state measured earlier")
        ->transform(fileOrPreset(presets::PresetKind::target))
        ->capture_default_str();
    std::vector<std::string> names;
    for (const CountName& count : countNames)
        names.emplace_back(count.name);
    addOption(*verb, "--count", options->count, "States that have to be good enough")
        ->check(oneOf(names))
        ->capture_default_str();
    addOption(*verb, "--filters", options->maxFilters, "Most filters of a DSP")
        ->check(CLI::Range(1, tuning::mostFilters))
        ->capture_default_str();
    addOption(*verb, "--out", options->out, "TUNING.json to write, if one belongs to the verdict");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runVerdict(*options); }; });
}

} // namespace

void addVerdictVerbs(CLI::App& app, Shared& shared)
{
    addToneControls(app, shared);
    addVerdict(app, shared);
}

} // namespace saddletone::commandline
