#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/StateOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/Prediction.h"
#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/SpeakerExcursion.h"
#include "Core/Tuning/TuningCost.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <array>
#include <memory>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using Outcome = std::variant<Output, Failure>;

/** An error of a tuning, with the file's name in front. */
dsp::Error named(const std::string& file, const dsp::Error& error)
{
    return {error.code, "'" + file + "': " + error.message};
}

std::string lines(const std::vector<std::string>& sentences)
{
    std::string text;
    for (const std::string& sentence : sentences)
        text += sentence + "\n";
    return text;
}

struct CostOptions {
    std::string tuning;
    std::string speaker;
    std::string measured;
    std::string table;
    std::string side;
    tuning::CostRequest request;
};

nlohmann::json driveJson(const tuning::DriveState& state)
{
    return {{"splDb", state.splDb},
            {"wattsPerSpeaker", state.wattsPerSpeaker},
            {"peakVolts", state.peakVolts},
            {"peakExcursionMm", state.peakExcursionMm},
            {"largestBandHz", state.largestBandHz},
            {"excursionMarginDb", state.excursionMarginDb},
            {"clipMarginDb", state.clipMarginDb},
            {"powerMarginDb", state.powerMarginDb},
            {"splAtExcursionLimitDb", state.splAtExcursionLimitDb},
            {"splAtClippingDb", state.splAtClippingDb}};
}

std::string costTable(const tuning::TuningCost& cost, const tuning::Speaker& speaker)
{
    std::vector<std::vector<double>> columns(11);
    for (const tuning::CostBand& band : cost.bands) {
        const std::array row {band.frequencyHz,
                              band.boostDb,
                              band.radioBoostDb,
                              band.wattsBefore,
                              band.wattsAfter,
                              band.excursionBeforeMm,
                              band.excursionAfterMm,
                              band.splBeforeDb,
                              band.splAfterDb,
                              tuning::displacementLimitedSplDb(speaker, band.frequencyHz),
                              tuning::powerLimitedSplDb(speaker, band.frequencyHz)};
        for (std::size_t column = 0; column < row.size(); ++column)
            columns[column].push_back(row[column]);
    }
    return files::csvText({"frequency_hz", "boost_db", "radio_boost_db", "power_before_w",
                           "power_after_w", "excursion_before_mm", "excursion_after_mm",
                           "spl_before_db", "spl_after_db", "excursion_limited_spl_1m_db",
                           "power_limited_spl_1m_db"},
                          columns, 5);
}

Outcome runCost(const CostOptions& options)
{
    if (const auto failure = checkOutputs(
            {options.tuning, options.speaker, options.measured,
             options.measured.empty() ? "" : measure::impulsePath(options.measured).string()},
            {options.table}))
        return *failure;
    auto request = options.request;
    auto tuning = tuning::loadTuning(options.tuning);
    if (!tuning)
        return inputFailure(tuning.error());
    request.tuning = std::move(*tuning);
    auto speaker = tuning::loadSpeaker(options.speaker);
    if (!speaker)
        return inputFailure(speaker.error());
    request.speaker = std::move(*speaker);
    request.amplifier.impedanceOhm = request.speaker.nominalImpedanceOhm;
    if (!options.measured.empty()) {
        auto measured = measure::loadResponse(options.measured);
        if (!measured)
            return inputFailure(measured.error());
        request.measured = std::move(*measured);
    }
    request.output = sideOrThat(options.side, request.measured ? request.measured->state.speakers
                                                               : measure::SpeakerGroup::all);
    const auto cost = tuning::computeCost(request);
    if (!cost && cost.error().code == dsp::ErrorCode::outOfRange)
        return usageFailure(cost.error().message);
    if (!cost)
        return inputFailure(cost.error().code == dsp::ErrorCode::unsupported
                                ? named(options.tuning, cost.error())
                                : cost.error());
    if (!options.table.empty())
        if (const auto written =
                files::writeTextFile(options.table, costTable(*cost, request.speaker));
            !written)
            return inputFailure(written.error());

    Output output;
    output.text = lines(tuning::costSentences(request, *cost));
    nlohmann::json extraPower = nlohmann::json::array();
    for (const tuning::ExtraPower& part : cost->extraPower)
        extraPower.push_back({{"fromHz", part.fromHz}, {"toHz", part.toHz}, {"watts", part.watts}});
    nlohmann::json bands = nlohmann::json::array();
    for (const tuning::CostBand& band : cost->bands)
        bands.push_back({{"frequencyHz", band.frequencyHz},
                         {"boostDb", band.boostDb},
                         {"radioBoostDb", band.radioBoostDb},
                         {"wattsBefore", band.wattsBefore},
                         {"wattsAfter", band.wattsAfter},
                         {"excursionBeforeMm", band.excursionBeforeMm},
                         {"excursionAfterMm", band.excursionAfterMm},
                         {"splBeforeDb", band.splBeforeDb},
                         {"splAfterDb", band.splAfterDb}});
    output.json = {{"before", driveJson(cost->before)},
                   {"after", driveJson(cost->after)},
                   {"extraWatts", cost->extraWatts},
                   {"extraPower", std::move(extraPower)},
                   {"largestBoostDb", cost->largestBoostDb},
                   {"largestBoostHz", cost->largestBoostHz},
                   {"boostFromHz", cost->boostFromHz},
                   {"boostToHz", cost->boostToHz},
                   {"measuredExcessDb", cost->measuredExcessDb},
                   {"measuredExcessHz", cost->measuredExcessHz},
                   {"sensitivityDbSpl", cost->sensitivityDbSpl},
                   {"resonanceHz", cost->resonanceHz},
                   {"resonanceQ", cost->resonanceQ},
                   {"uncertaintyDb", cost->uncertaintyDb},
                   {"hasLimiter", cost->hasLimiter},
                   {"bands", std::move(bands)},
                   {"sentences", tuning::costSentences(request, *cost)}};
    return output;
}

void addCost(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<CostOptions>();
    CLI::App* verb =
        addVerb(app, "cost", "What a tuning asks of the amplifier and the speaker's cone");
    addOption(*verb, "--tuning", options->tuning, "TUNING.json")
        ->transform(fileOrPreset(presets::PresetKind::tuning))
        ->required();
    addOption(*verb, "--speaker", options->speaker, "Data of the speaker (SPEAKER.json)")
        ->transform(fileOrPreset(presets::PresetKind::speaker))
        ->required();
    addOption(*verb, "--amplifier-watts", options->request.amplifier.powerWatts,
              "Sine power of one amplifier channel into the speaker's nominal impedance")
        ->required();
    addOption(*verb, "--level-db-spl", options->request.plannedSplDb,
              "Planned level of pink noise at the rider's head before the tuning, unweighted")
        ->required();
    addOption(*verb, "--measured", options->measured,
              "The bike as measured (STATE.json), for what its radio boosts by itself");
    addOption(*verb, "--distance-metres", options->request.distanceMetres,
              "From speaker to head, 0.2 to 5")
        ->capture_default_str();
    addOption(*verb, "--crest-db", options->request.crestFactorDb,
              "Peaks of the programme over its mean level, 3 to 30: pink noise 12, loudly "
              "mastered music about 10")
        ->capture_default_str();
    addSideOption(*verb, options->side);
    addOption(*verb, "--table", options->table, "Table of the third octaves to write (CSV)");
    verb->callback([options, &shared] { shared.action = [options] { return runCost(*options); }; });
}

struct VerifyOptions {
    std::string before;
    std::string tuning;
    std::string after;
    std::string table;
    std::string side;
    bool countLevel = false;
    tuning::VerifySettings settings;
};

std::string verificationTable(const tuning::Verification& verification)
{
    std::vector<std::vector<double>> columns(6);
    for (const tuning::VerifiedBand& band : verification.bands) {
        const std::array row {band.frequencyHz,  band.predictedDb, band.measuredDb,
                              band.differenceDb, band.allowedDb,   band.trusted ? 1.0 : 0.0};
        for (std::size_t column = 0; column < row.size(); ++column)
            columns[column].push_back(row[column]);
    }
    return files::csvText(
        {"frequency_hz", "predicted_db", "measured_db", "difference_db", "allowed_db", "trusted"},
        columns, 4);
}

Outcome runVerify(const VerifyOptions& options)
{
    if (const auto failure = checkOutputs(
            {options.before, measure::impulsePath(options.before).string(), options.after,
             measure::impulsePath(options.after).string(), options.tuning},
            {options.table}))
        return *failure;
    const auto before = measure::loadResponse(options.before);
    if (!before)
        return inputFailure(before.error());
    const auto after = measure::loadResponse(options.after);
    if (!after)
        return inputFailure(after.error());
    const auto tuning = tuning::loadTuning(options.tuning);
    if (!tuning)
        return inputFailure(tuning.error());
    auto settings = options.settings;
    if (settings.fromHz >= settings.toHz)
        return usageFailure("--from must be below --to");
    settings.level = options.countLevel ? tuning::LevelRule::counted : tuning::LevelRule::free;
    if (before->state.speakers != after->state.speakers)
        return inputFailure({dsp::ErrorCode::notTrustworthy,
                             "'" + options.before + "' was measured of the "
                                 + measure::speakerGroupWords(before->state.speakers)
                                 + " speakers and '" + options.after + "' of the "
                                 + measure::speakerGroupWords(after->state.speakers)
                                 + " ones; measure the same speakers before and after"});
    const auto side = sideOrThat(options.side, before->state.speakers);
    const auto predicted = tuning::predictResponse(*before, *tuning, side);
    if (!predicted)
        return inputFailure(named(options.tuning, predicted.error()));
    const auto verification = tuning::verifyPrediction(*predicted, *after, settings);
    if (!options.table.empty())
        if (const auto written =
                files::writeTextFile(options.table, verificationTable(verification));
            !written)
            return inputFailure(written.error());

    auto sentences = tuning::verificationSentences(verification, settings);
    if (tuning::hasLimiter(*tuning, side))
        sentences.emplace_back(
            "The tuning's limiter is not in the prediction: what it does depends on "
            "the level.");
    if (verification.verdict == tuning::PredictionVerdict::failed
        || verification.verdict == tuning::PredictionVerdict::unclear) {
        std::string message = "'" + options.after + "': ";
        for (const std::string& sentence : sentences)
            message += (message.ends_with(": ") ? "" : " ") + sentence;
        return Failure {ExitCode::notGoodEnough, message};
    }
    Output output;
    output.text = lines(sentences);
    nlohmann::json bands = nlohmann::json::array();
    for (const tuning::VerifiedBand& band : verification.bands)
        bands.push_back({{"frequencyHz", band.frequencyHz},
                         {"predictedDb", band.predictedDb},
                         {"measuredDb", band.measuredDb},
                         {"differenceDb", band.differenceDb},
                         {"allowedDb", band.allowedDb},
                         {"trusted", band.trusted}});
    output.json = {{"verdict", tuning::predictionVerdictName(verification.verdict)},
                   {"numBands", verification.numBands},
                   {"levelDifferenceDb", verification.levelDifferenceDb},
                   {"largestDb", verification.largestDb},
                   {"largestAtHz", verification.largestAtHz},
                   {"rmsDb", verification.rmsDb},
                   {"bands", std::move(bands)},
                   {"sentences", sentences}};
    return output;
}

void addVerify(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<VerifyOptions>();
    CLI::App* verb =
        addVerb(app, "verify", "Compare a measurement after the work with what was predicted");
    addOption(*verb, "--before", options->before, "State measured before the tuning (STATE.json)")
        ->required();
    addOption(*verb, "--tuning", options->tuning, "TUNING.json that was entered")
        ->transform(fileOrPreset(presets::PresetKind::tuning))
        ->required();
    addOption(*verb, "--after", options->after, "State measured after it (STATE.json)")->required();
    addOption(*verb, "--from", options->settings.fromHz, "Lowest frequency that counts, in Hz")
        ->check(withinRange(20.0, 20000.0))
        ->capture_default_str();
    addOption(*verb, "--to", options->settings.toHz, "Highest frequency that counts, in Hz")
        ->check(withinRange(20.0, 20000.0))
        ->capture_default_str();
    addOption(*verb, "--tolerance-db", options->settings.toleranceDb,
              "Difference that is let pass where the measurements could tell it")
        ->check(withinRange(0.0, 20.0))
        ->capture_default_str();
    addFlag(*verb, "--count-level", options->countLevel,
            "Volume step and recorder were left alone, so that level counts too");
    addSideOption(*verb, options->side);
    addOption(*verb, "--table", options->table, "Table of the third octaves to write (CSV)");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runVerify(*options); }; });
}

} // namespace

void addCostVerbs(CLI::App& app, Shared& shared)
{
    addCost(app, shared);
    addVerify(app, shared);
}

} // namespace saddletone::commandline
