#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/FilterFit.h"
#include "Core/Tuning/FitCurve.h"
#include "Core/Tuning/FitTarget.h"
#include "Core/Tuning/ToneControlFit.h"
#include "Core/Tuning/ToneControls.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

struct FitOptions {
    std::vector<std::string> measured;
    std::string target = "flat";
    std::optional<double> bassShelfDb;
    double bassShelfHz = tuning::BassShelf().frequencyHz;
    std::string with;
    std::string toneControls;
    int numFilters = 6;
    tuning::FilterLimits limits;
    tuning::FitRange range;
    std::string out;
    std::string filterOption; ///< One that only filters have and that was given.
};

std::string signedText(double levelDb, int decimals)
{
    return (levelDb < 0.0 ? "" : "+") + fixedText(levelDb, decimals);
}

std::string elementWords(const tuning::Element& element)
{
    std::string words;
    switch (element.type) {
    case tuning::ElementType::lowShelf: words = "low shelf "; break;
    case tuning::ElementType::highShelf: words = "high shelf"; break;
    case tuning::ElementType::peaking: words = "peaking   "; break;
    default: return "gain       " + signedText(element.gainDb, 2) + " dB";
    }
    return words + " " + fixedText(element.frequencyHz, element.frequencyHz < 1000.0 ? 1 : 0)
           + " Hz, " + signedText(element.gainDb, 2) + " dB, Q " + fixedText(element.q, 2);
}

std::string deviationWords(const tuning::BandDeviation& deviation,
                           const std::vector<tuning::FitCurve>& curves)
{
    return signedText(deviation.deviationDb, 1) + " dB at "
           + dsp::nominalLabel(deviation.frequencyHz) + " Hz"
           + (curves.size() > 1 ? " ('" + curves[deviation.curve].name + "')" : "");
}

nlohmann::json deviationJson(const tuning::BandDeviation& deviation,
                             const std::vector<tuning::FitCurve>& curves)
{
    return {{"deviationDb", deviation.deviationDb},
            {"frequencyHz", deviation.frequencyHz},
            {"state", curves[deviation.curve].name}};
}

nlohmann::json curveJson(const tuning::FitCurve& curve)
{
    nlohmann::json points = nlohmann::json::array();
    for (const tuning::FitPoint& point : curve.points)
        points.push_back({{"frequencyHz", point.frequencyHz},
                          {"levelDb", point.levelDb},
                          {"targetDb", point.targetDb},
                          {"weight", point.weight}});
    nlohmann::json dips = nlohmann::json::array();
    for (const tuning::NarrowDip& dip : curve.narrowDips)
        dips.push_back({{"frequencyHz", dip.frequencyHz}, {"depthDb", dip.depthDb}});
    return {{"state", curve.name}, {"points", std::move(points)}, {"narrowDips", std::move(dips)}};
}

/** What both kinds of fit come to. */
struct Found {
    tuning::Tuning tuning;
    double errorBeforeDb = 0.0;
    double errorAfterDb = 0.0;
    std::string words;
    std::vector<std::string> notes;
    nlohmann::json json;
};

dsp::Result<Found> fitWithFilters(const std::vector<tuning::FitCurve>& curves,
                                  const FitOptions& options)
{
    const auto fit = tuning::fitFilters(curves, options.limits, options.numFilters);
    if (!fit)
        return fit.unexpected();
    Found found {fit->tuning, fit->errorBeforeDb, fit->errorAfterDb, "", fit->remarks, {}};
    found.words =
        std::to_string(fit->numFilters) + (fit->numFilters == 1 ? " filter" : " filters") + "\n";
    for (const tuning::Element& element : fit->tuning.chains.front().elements)
        found.words += "  " + elementWords(element) + "\n";
    if (fit->numFilters > 0)
        found.words += "the whole becomes " + fixedText(fit->lossDb, 1)
                       + " dB quieter on average, as nothing may come out louder than it went in\n";
    const tuning::FilterLimits& limits = options.limits;
    found.json = {{"numFilters", fit->numFilters},
                  {"largestBoostDb", fit->largestBoostDb},
                  {"lossDb", fit->lossDb},
                  {"limits",
                   {{"maxBoostDb", limits.maxBoostDb},
                    {"maxCutDb", limits.maxCutDb},
                    {"headroomDb", limits.headroomDb},
                    {"maxLossDb", limits.maxLossDb},
                    {"minQ", limits.minQ},
                    {"maxQ", limits.maxQ},
                    {"maxShelfQ", tuning::maxShelfQ},
                    {"fromHz", limits.fromHz},
                    {"toHz", limits.toHz},
                    {"leastBenefitDb", limits.leastBenefitDb}}}};
    return found;
}

dsp::Result<Found> fitWithToneControls(const std::vector<tuning::FitCurve>& curves,
                                       const FitOptions& options)
{
    const auto model = tuning::loadToneControls(options.toneControls);
    if (!model)
        return model.unexpected();
    const tuning::ToneControlFit fit = tuning::fitToneControls(curves, *model);
    Found found {fit.tuning, fit.errorBeforeDb, fit.errorDb, "", {}, {}};
    found.words = tuning::toneWords(*model, fit.steps) + "\n";
    for (const tuning::FitCurve& curve : curves)
        found.notes.insert(found.notes.end(), curve.remarks.begin(), curve.remarks.end());
    if (model->status() == tuning::ToneControlStatus::assumed)
        found.notes.push_back("What a step of '" + model->name
                              + "' does is assumed; measure it with `saddletone tone-controls`.");
    nlohmann::json steps = nlohmann::json::object();
    for (std::size_t index = 0; index < fit.steps.size(); ++index)
        steps[model->controls[index].name] = fit.steps[index];
    found.json = {{"toneControls", model->name}, {"toneSteps", std::move(steps)}};
    return found;
}

dsp::Result<tuning::FitTarget> readTarget(const FitOptions& options)
{
    tuning::FitTarget target;
    if (options.target != "flat") {
        auto read = tuning::loadTarget(options.target);
        if (!read)
            return read.unexpected();
        target = *std::move(read);
    }
    if (options.bassShelfDb) {
        if (target.bassShelf)
            return dsp::fail(dsp::ErrorCode::unsupported,
                             "target '" + options.target
                                 + "' has a bass shelf of its own; leave out --bass-shelf-db");
        target.bassShelf = {*options.bassShelfDb, options.bassShelfHz};
        target.name += " with " + signedText(*options.bassShelfDb, 1) + " dB of bass";
    }
    return target;
}

Outcome runFit(const FitOptions& options)
{
    const bool isFilters = options.with == "filters";
    if (!isFilters && options.toneControls.empty())
        return usageFailure("fit --with tone-controls needs --tone-controls MODEL.json, which "
                            "`saddletone tone-controls` makes");
    if (isFilters && !options.toneControls.empty())
        return usageFailure("fit --with filters takes no --tone-controls");
    if (!isFilters && !options.filterOption.empty())
        return usageFailure("fit --with tone-controls takes no " + options.filterOption
                            + ", which is a limit of filters");
    if (!(options.range.toHz >= 2.0 * options.range.fromHz))
        return usageFailure("fit: --to has to lie an octave or more above --from");
    std::vector<std::string> states = options.measured;
    if (options.target != "flat")
        states.push_back(options.target);
    std::vector<std::string> inputs = filesOfStates(states);
    inputs.push_back(options.toneControls);
    if (auto failure = checkOutputs(inputs, {options.out}))
        return *std::move(failure);

    const auto target = readTarget(options);
    if (!target)
        return inputFailure(target.error());
    std::vector<tuning::FitCurve> curves;
    for (const std::string& file : options.measured) {
        const auto response = measure::loadResponse(file);
        if (!response)
            return inputFailure(response.error());
        auto curve = tuning::makeFitCurve(*response, *target, options.range);
        if (!curve)
            return inputFailure(curve.error());
        curves.push_back(*std::move(curve));
    }
    auto found = isFilters ? fitWithFilters(curves, options) : fitWithToneControls(curves, options);
    if (!found)
        return inputFailure(found.error());
    if (const auto saved = tuning::saveTuning(found->tuning, options.out); !saved)
        return inputFailure(saved.error());

    const auto change = tuning::levelDbOf(found->tuning);
    const auto before = tuning::largestDeviation(curves, tuning::noChangeDb);
    const auto after = tuning::largestDeviation(curves, change);
    Output output;
    output.text =
        options.out + ": " + found->words + "error from the target (" + target->name + "), RMS: "
        + fixedText(found->errorBeforeDb, 2) + " dB before, " + fixedText(found->errorAfterDb, 2)
        + " dB after\nlargest deviation of a third octave: " + deviationWords(before, curves)
        + " before, " + deviationWords(after, curves) + " after\n";
    for (const std::string& note : found->notes)
        output.text += "note: " + note + "\n";
    output.json = std::move(found->json);
    nlohmann::json curvesJson = nlohmann::json::array();
    for (const tuning::FitCurve& curve : curves)
        curvesJson.push_back(curveJson(curve));
    output.json.update({{"tuningFile", options.out},
                        {"tuning", tuning::tuningToJson(found->tuning)},
                        {"with", options.with},
                        {"target", target->name},
                        {"fromHz", options.range.fromHz},
                        {"toHz", options.range.toHz},
                        {"errorBeforeDb", found->errorBeforeDb},
                        {"errorAfterDb", found->errorAfterDb},
                        {"largestBefore", deviationJson(before, curves)},
                        {"largestAfter", deviationJson(after, curves)},
                        {"curves", std::move(curvesJson)},
                        {"notes", found->notes}});
    return output;
}

} // namespace

void addFitVerbs(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<FitOptions>();
    CLI::App* verb =
        addVerb(app, "fit",
                "Find the tone control steps or the filters that bring a bike closest to a target");
    addOption(*verb, "--measured", options->measured,
              "Measured state (STATE.json); several are fitted together, parked and running "
              "say")
        ->required();
    addOption(*verb, "--target", options->target,
              "flat, or a file: saddletone-target, table, or a state measured earlier")
        ->transform(fileOrPreset(presets::PresetKind::target))
        ->capture_default_str();
    using tuning::BassShelf;
    auto* shelf = addOption(*verb, "--bass-shelf-db", options->bassShelfDb,
                            "Bass that the target has more than flat, or than its file")
                      ->check(withinRange(BassShelf::lowestGainDb, BassShelf::highestGainDb));
    addOption(*verb, "--bass-shelf-hz", options->bassShelfHz,
              "Frequency at which that has half its decibels")
        ->check(withinRange(BassShelf::lowestHz, BassShelf::highestHz))
        ->needs(shelf)
        ->capture_default_str();
    addOption(*verb, "--with", options->with, "What is to be set")
        ->check(oneOf({"tone-controls", "filters"}))
        ->required();
    addOption(*verb, "--tone-controls", options->toneControls,
              "MODEL.json of the radio's own tone controls")
        ->transform(fileOrPreset(presets::PresetKind::toneControls));
    auto filterOptions = std::make_shared<std::vector<CLI::Option*>>();
    filterOptions->push_back(addOption(*verb, "--filters", options->numFilters, "Most filters")
                                 ->check(CLI::Range(0, tuning::mostFilters))
                                 ->capture_default_str());
    const auto addLimit = [&](const std::string& name, double& value, double lowest, double highest,
                              const std::string& words) {
        filterOptions->push_back(addOption(*verb, name, value, words)
                                     ->check(withinRange(lowest, highest))
                                     ->capture_default_str());
    };
    tuning::FilterLimits& limits = options->limits;
    addLimit("--max-boost", limits.maxBoostDb, 0.0, 24.0, "Largest boost of a filter in dB");
    addLimit("--max-cut", limits.maxCutDb, 0.0, 24.0, "Largest cut of a filter in dB");
    addLimit("--max-q", limits.maxQ, limits.minQ, 20.0, "Highest Q of a peaking filter");
    addLimit("--headroom", limits.headroomDb, 0.0, 24.0,
             "Largest boost of all filters together in dB; the whole is turned down by it");
    addLimit("--max-loss", limits.maxLossDb, 0.0, 60.0,
             "How much quieter the whole may become on average in dB");
    addLimit("--least-benefit", limits.leastBenefitDb, 0.0, 10.0,
             "A filter that lowers the error by less is left out, in dB");
    addOption(*verb, "--from", options->range.fromHz,
              "Lowest frequency that is compared, and of filters, in Hz")
        ->check(withinRange(20.0, 20000.0))
        ->capture_default_str();
    addOption(*verb, "--to", options->range.toHz,
              "Highest frequency that is compared, and of filters, in Hz")
        ->check(withinRange(20.0, 20000.0))
        ->capture_default_str();
    addOption(*verb, "--out", options->out, "TUNING.json to write")->required();
    verb->callback([options, filterOptions, &shared] {
        for (const CLI::Option* option : *filterOptions)
            if (option->count() > 0)
                options->filterOption = option->get_name();
        options->limits.fromHz = options->range.fromHz;
        options->limits.toHz = options->range.toHz;
        shared.action = [options] { return runFit(*options); };
    });
}

} // namespace saddletone::commandline
