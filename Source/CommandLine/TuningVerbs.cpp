#include "CommandLine/FileArguments.h"
#include "CommandLine/GroupOptions.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/StateOptions.h"
#include "CommandLine/TableColumns.h"
#include "CommandLine/Verbs.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/FilterExport.h"
#include "Core/Tuning/Prediction.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <memory>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

constexpr const char* limiterWords =
    "The tuning's limiter is not in this result: what it does depends on the level.\n";

struct PredictOptions {
    std::string measured;
    GroupOptions groups;
    std::string tuning;
    std::string table;
    std::string out;
    std::string side;
};

/** The table and the state of speaker groups heard together. */
Outcome predictGroups(const PredictOptions& options, const measure::GroupedStates& groups,
                      const tuning::Tuning& tuning)
{
    const auto measured = measure::responseOfGroups(groups);
    const auto predicted = tuning::predictResponse(groups, tuning);
    if (!predicted)
        return inputFailure(
            {predicted.error().code, "'" + options.tuning + "': " + predicted.error().message});
    const auto frequencies = tableFrequencies(measured.fromHz, measured.toHz);
    const auto before = measured.magnitudeDb(frequencies, 24);
    const auto after = predicted->magnitudeDb(frequencies, 24);
    std::vector<double> change;
    for (std::size_t index = 0; index < frequencies.size(); ++index)
        change.push_back(after[index] - before[index]);
    const auto text = files::csvText(
        {"frequency_hz", "level_db", "phase_degrees", "measured_db", "tuning_db"},
        {frequencies, after, phasesDegrees(predicted->at(frequencies)), before, change}, 4);
    if (!options.out.empty())
        if (const auto saved = measure::saveResponse(*predicted, options.out); !saved)
            return inputFailure(saved.error());
    if (const auto saved = files::writeTextFile(options.table, text); !saved)
        return inputFailure(saved.error());
    bool limited = false;
    for (const measure::Response& state : groups.states)
        limited = limited || tuning::hasLimiter(tuning, state.state.speakers);
    Output output;
    output.text = options.table
                  + ": response expected of all groups together, each playing the same (an "
                    "estimate until it is measured)\n";
    if (limited)
        output.text += limiterWords;
    output.json = {{"table", options.table}, {"limiterLeftOut", limited}};
    if (!options.out.empty())
        output.json["state"] = options.out;
    describeGroups(&groups, output);
    return output;
}

Outcome runPredict(const PredictOptions& options)
{
    std::vector<std::string> written {options.table};
    if (!options.out.empty())
        written.insert(written.end(), {options.out, measure::impulsePath(options.out).string()});
    std::vector<std::string> read {options.measured,
                                   measure::impulsePath(options.measured).string(), options.tuning};
    const auto groupFiles = options.groups.files();
    read.insert(read.end(), groupFiles.begin(), groupFiles.end());
    if (auto failure = checkOutputs(read, written))
        return *std::move(failure);
    const auto response = measure::loadResponse(options.measured);
    if (!response)
        return inputFailure(response.error());
    const auto tuning = tuning::loadTuning(options.tuning);
    if (!tuning)
        return inputFailure(tuning.error());
    const auto groups = loadGroups(*response, options.groups);
    if (!groups)
        return inputFailure(groups.error());
    if (*groups != nullptr) {
        if (!options.side.empty())
            return usageFailure("--side and --group do not go together: each group has its own "
                                "speakers");
        return predictGroups(options, **groups, *tuning);
    }
    const auto side = sideOrThat(options.side, response->state.speakers);
    if (const auto applies = tuning::checkApplies(*tuning, side); !applies)
        return inputFailure(
            {applies.error().code, "'" + options.tuning + "': " + applies.error().message});

    const auto frequencies = tableFrequencies(response->fromHz, response->toHz);
    const auto before = response->magnitudeDb(frequencies, 24);
    auto measuredPhase = response->at(frequencies);
    std::vector<double> change;
    std::vector<double> after;
    for (std::size_t index = 0; index < frequencies.size(); ++index) {
        const auto gain = tuning::idealResponse(*tuning, side, frequencies[index]);
        change.push_back(dsp::amplitudeToDb(std::abs(gain)));
        after.push_back(before[index] + change.back());
        measuredPhase[index] *= gain;
    }
    const auto text =
        files::csvText({"frequency_hz", "level_db", "phase_degrees", "measured_db", "tuning_db"},
                       {frequencies, after, phasesDegrees(measuredPhase), before, change}, 4);
    if (!options.out.empty()) {
        const auto predicted = tuning::predictResponse(*response, *tuning, side);
        if (!predicted)
            return inputFailure(predicted.error());
        if (const auto saved = measure::saveResponse(*predicted, options.out); !saved)
            return inputFailure(saved.error());
    }
    if (const auto saved = files::writeTextFile(options.table, text); !saved)
        return inputFailure(saved.error());
    const bool limited = tuning::hasLimiter(*tuning, side);
    Output output;
    const auto largest = std::ranges::max_element(change);
    output.text =
        options.table + ": response expected with the tuning (an estimate until it is measured)\n"
        + "largest boost of the tuning: " + fixedText(*largest, 1) + " dB at "
        + fixedText(frequencies[static_cast<std::size_t>(largest - change.begin())], 0) + " Hz\n";
    if (limited)
        output.text += limiterWords;
    output.json = {{"table", options.table},
                   {"side", measure::speakerGroupName(side)},
                   {"largestBoostDb", *largest},
                   {"limiterLeftOut", limited}};
    if (!options.out.empty())
        output.json["state"] = options.out;
    return output;
}

void addPredict(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<PredictOptions>();
    CLI::App* verb = addVerb(app, "predict", "Response expected after a tuning");
    addOption(*verb, "--measured", options->measured, "STATE.json")->required();
    addGroupOptions(*verb, "--measured", options->groups);
    addOption(*verb, "--tuning", options->tuning, "TUNING.json")
        ->transform(fileOrPreset(presets::PresetKind::tuning))
        ->required();
    addOption(*verb, "--table", options->table, "Table to write (CSV)")->required();
    addOption(*verb, "--out", options->out,
              "State to write as well, marked as predicted (STATE.json)");
    addSideOption(*verb, options->side);
    verb->callback(
        [options, &shared] { shared.action = [options] { return runPredict(*options); }; });
}

struct ExportOptions {
    std::string tuning;
    std::string out;
    double rate = 48000.0;
    bool rateGiven = false;
};

Outcome runExport(const ExportOptions& options)
{
    if (auto failure = checkEnding("--out", options.out, {".txt", ".csv", ".json"}))
        return *std::move(failure);
    const bool isBiquads = options.out.ends_with(".json");
    if (options.rateGiven && !isBiquads)
        return usageFailure("--rate only changes biquad coefficients; leave it out or write a "
                            ".json file");
    if (auto failure = checkOutputs({options.tuning}, {options.out}))
        return *std::move(failure);
    const auto tuning = tuning::loadTuning(options.tuning);
    if (!tuning)
        return inputFailure(tuning.error());
    if (const auto written = tuning::exportFilters(*tuning, options.out, options.rate); !written)
        return inputFailure(written.error());
    Output output;
    output.text = options.out + ": "
                  + (isBiquads ? "biquad coefficients for " + fixedText(options.rate, 0) + " Hz"
                               : std::string("filter settings"))
                  + "; a positive gain is a boost\n";
    output.json = {{"file", options.out}};
    if (isBiquads)
        output.json["sampleRate"] = options.rate;
    return output;
}

void addExport(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<ExportOptions>();
    CLI::App* verb =
        addVerb(app, "export", "Settings of a tuning to type into the bike's radio or processor");
    addOption(*verb, "--tuning", options->tuning, "TUNING.json")
        ->transform(fileOrPreset(presets::PresetKind::tuning))
        ->required();
    addOption(*verb, "--out", options->out,
              "Table to print (.txt), table (.csv) or biquad coefficients (.json)")
        ->required();
    auto* rate =
        addOption(*verb, "--rate", options->rate, "Sample rate of the device in Hz, for .json")
            ->check(withinRange(8000.0, 384000.0))
            ->capture_default_str();
    verb->callback([options, rate, &shared] {
        options->rateGiven = rate->count() > 0;
        shared.action = [options] { return runExport(*options); };
    });
}

} // namespace

void addTuningVerbs(CLI::App& app, Shared& shared)
{
    addPredict(app, shared);
    addExport(app, shared);
}

} // namespace saddletone::commandline
