#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Core/Seat/BinauralPlacement.h"
#include "Core/Seat/HeadphoneCalibration.h"
#include "Core/Seat/HeadphoneCorrection.h"
#include "Core/Seat/SpeakerPlaces.h"

#include <cmath>
#include <memory>
#include <string>
#include <vector>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

dsp::Result<void> writeTaps(const std::vector<std::vector<double>>& channels, double sampleRate,
                            const std::string& file)
{
    dsp::AudioBuffer audio {sampleRate, {}};
    for (const auto& taps : channels)
        audio.channels.emplace_back(taps.begin(), taps.end());
    return files::writeAudioFile(audio, file, files::SampleFormat::float32);
}

struct HeadphoneOptions {
    std::string response;
    std::string target;
    seat::HeadphoneCorrectionSettings settings;
    std::string impulse;
    std::string table;
};

Outcome runHeadphone(const HeadphoneOptions& options)
{
    if (auto failure =
            checkOutputs({options.response, options.target}, {options.impulse, options.table}))
        return *std::move(failure);
    if (!options.impulse.empty())
        if (auto failure = checkEnding("--impulse", options.impulse, {".wav"}))
            return *std::move(failure);
    const auto correction =
        seat::loadHeadphoneCorrection(options.response, options.target, options.settings);
    if (!correction)
        return inputFailure(correction.error());
    if (!options.impulse.empty())
        if (const auto written =
                writeTaps({correction->taps}, options.settings.sampleRate, options.impulse);
            !written)
            return inputFailure(written.error());
    if (!options.table.empty()) {
        const auto text = files::csvText({"frequencyHz", "idealDb", "correctionDb", "differenceDb"},
                                         {correction->frequenciesHz, correction->idealDb,
                                          correction->correctionDb, correction->differenceDb});
        if (const auto written = files::writeTextFile(options.table, text); !written)
            return inputFailure(written.error());
    }
    Output output;
    output.text = "correction of '" + options.response
                  + "': " + std::to_string(correction->taps.size()) + " taps at "
                  + fixedText(options.settings.sampleRate, 0) + " Hz, highest gain "
                  + fixedText(correction->highestGainDb, 1) + " dB\n";
    for (const std::string& remark : correction->remarks)
        output.text += "note: " + remark + "\n";
    output.json = {{"response", options.response},
                   {"numTaps", correction->taps.size()},
                   {"sampleRate", options.settings.sampleRate},
                   {"highestGainDb", correction->highestGainDb},
                   {"fromHz", correction->fromHz},
                   {"toHz", correction->toHz},
                   {"frequenciesHz", correction->frequenciesHz},
                   {"idealDb", correction->idealDb},
                   {"correctionDb", correction->correctionDb},
                   {"differenceDb", correction->differenceDb},
                   {"remarks", correction->remarks}};
    return output;
}

struct LevelOptions {
    seat::HeadphoneCalibration calibration;
    bool isPerVolt = false;
    bool isPerMilliwatt = false;
    bool isMeasured = false;
    double perVolt = 0.0;
    double perMilliwatt = 0.0;
    double ceilingDba = seat::defaultCeilingDba;
    std::string out;
};

Outcome runHeadphoneLevel(const LevelOptions& options)
{
    auto calibration = options.calibration;
    if (int {options.isPerVolt} + int {options.isPerMilliwatt} + int {options.isMeasured} != 1)
        return usageFailure("give one of --sensitivity-per-volt, --sensitivity-per-milliwatt and "
                            "--measured-spl");
    if (calibration.headphone.empty() || calibration.source.empty())
        return usageFailure("--headphone and --source need words: which headphone, and where its "
                            "figures come from");
    if (calibration.date.empty())
        calibration.date = measure::todayUtc();
    if (const auto day = measure::daysBetween(calibration.date, calibration.date); !day)
        return usageFailure(day.error().message);
    if (auto failure = checkOutputs({}, {options.out}))
        return *std::move(failure);
    if (options.isMeasured) {
        calibration.basis = seat::HeadphoneLevelBasis::measuredLevel;
    } else if (options.isPerVolt) {
        calibration.basis = seat::HeadphoneLevelBasis::sensitivityPerVolt;
        calibration.sensitivityDbSpl = options.perVolt;
    } else {
        calibration.basis = seat::HeadphoneLevelBasis::sensitivityPerMilliwatt;
        calibration.sensitivityDbSpl = options.perMilliwatt;
    }
    if (const auto saved = seat::saveHeadphoneCalibration(calibration, options.out); !saved)
        return inputFailure(saved.error());
    Output output;
    output.text = options.out + ": 0 dBFS stands for "
                  + fixedText(calibration.splAtFullScaleDb(), 1) + " dB SPL\n"
                  + seat::ceilingWords(calibration, options.ceilingDba) + "\n";
    output.json = {{"calibration", options.out},
                   {"headphone", calibration.headphone},
                   {"date", calibration.date},
                   {"basis", seat::headphoneLevelBasisName(calibration.basis)},
                   {"splAtFullScaleDb", calibration.splAtFullScaleDb()},
                   {"ceilingDba", options.ceilingDba},
                   {"ceilingDbfs", *seat::digitalLevelDbfs(calibration, options.ceilingDba)}};
    return output;
}

struct PlacementOptions {
    std::string head;
    std::string speaker = "front-left";
    double azimuth = 0.0;
    double elevation = 0.0;
    bool hasAzimuth = false;
    bool hasElevation = false;
    std::string normalisation = "on-axis";
    double sampleRate = 48000.0;
    std::string out;
};

Outcome runPlacement(const PlacementOptions& options)
{
    const auto group = measure::parseSpeakerGroup(options.speaker);
    if (!group || !measure::otherSideOf(*group))
        return usageFailure(
            "--speaker must be front-left, front-right, rear-left, rear-right, left "
            "or right");
    if (auto failure = checkOutputs({options.head}, {options.out}))
        return *std::move(failure);
    if (auto failure = checkEnding("--out", options.out, {".wav"}))
        return *std::move(failure);
    const std::filesystem::path head = options.head.empty() ? seat::HeadModel::packagedFile()
                                                            : std::filesystem::path(options.head);
    if (head.empty())
        return usageFailure("this build knows no set of head-related responses; name a SOFA file "
                            "with --head");
    auto model = seat::HeadModel::load(head, options.sampleRate);
    if (!model)
        return inputFailure(model.error());
    const std::string description = model->description();
    const seat::BinauralPlacement placement(*std::move(model),
                                            {options.normalisation == "on-axis"
                                                 ? seat::PlacementNormalisation::onAxis
                                                 : seat::PlacementNormalisation::diffuseField});
    seat::Direction direction = seat::placeOf(*group, seat::BikeSide::left);
    if (options.hasAzimuth)
        direction.azimuthDegrees = options.azimuth;
    if (options.hasElevation)
        direction.elevationDegrees = options.elevation;
    const auto filters = placement.filters(direction);
    if (!filters)
        return inputFailure(filters.error());
    if (const auto written =
            writeTaps({filters->taps[seat::leftEar], filters->taps[seat::rightEar]},
                      options.sampleRate, options.out);
        !written)
        return inputFailure(written.error());
    const double differenceSeconds =
        filters->delaysSeconds[seat::rightEar] - filters->delaysSeconds[seat::leftEar];
    Output output;
    output.text = options.out + ": azimuth " + fixedText(direction.azimuthDegrees, 1)
                  + ", elevation " + fixedText(direction.elevationDegrees, 1) + " degrees; "
                  + (differenceSeconds < 0.0 ? "right" : "left") + " ear first by "
                  + fixedText(1e6 * std::abs(differenceSeconds), 0) + " us (" + description + ")\n";
    output.json = {{"out", options.out},
                   {"head", description},
                   {"azimuthDegrees", direction.azimuthDegrees},
                   {"elevationDegrees", direction.elevationDegrees},
                   {"normalisation", options.normalisation},
                   {"sampleRate", options.sampleRate},
                   {"numTaps", placement.numTaps()},
                   {"headCentreFrame", filters->headCentreFrame},
                   {"interauralSeconds", differenceSeconds}};
    return output;
}

void addHeadphone(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<HeadphoneOptions>();
    CLI::App* verb = addVerb(app, "headphone",
                             "Make the correction of a headphone from a table of its response");
    addOption(*verb, "--response", options->response,
              "Table of frequency and level of the headphone, text or CSV")
        ->transform(fileOrPreset(presets::PresetKind::headphone))
        ->required();
    addOption(*verb, "--target", options->target,
              "Table that the headphone is to have (default: flat)");
    addOption(*verb, "--max-boost", options->settings.maxBoostDb, "Largest boost in dB")
        ->check(withinRange(0.0, 24.0))
        ->capture_default_str();
    addOption(*verb, "--max-cut", options->settings.maxCutDb, "Largest cut in dB")
        ->check(withinRange(0.0, 40.0))
        ->capture_default_str();
    addOption(*verb, "--rate", options->settings.sampleRate, "Sample rate of the filter in Hz")
        ->check(withinRange(8000.0, 384000.0))
        ->capture_default_str();
    addOption(*verb, "--taps", options->settings.numTaps, "Length of the filter")
        ->check(CLI::Range(256, 65536))
        ->capture_default_str();
    addOption(*verb, "--impulse", options->impulse, "WAV file to write the filter to");
    addOption(*verb, "--table", options->table,
              "CSV to write: ideal inverse, correction, and what they differ by");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runHeadphone(*options); }; });
}

void addHeadphoneLevel(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<LevelOptions>();
    auto& calibration = options->calibration;
    CLI::App* verb = addVerb(app, "headphone-level",
                             "Save how loud a headphone plays, from its data or a measurement");
    addOption(*verb, "--headphone", calibration.headphone, "Name of the headphone")->required();
    addOption(*verb, "--source", calibration.source,
              "Where the figures come from, in words: data sheet, ear simulator")
        ->required();
    addOption(*verb, "--output", calibration.output, "Socket and where its volume stood, in words");
    addOption(*verb, "--date", calibration.date, "Day, 2026-05-01 (default: today)");
    auto* perVolt = addOption(*verb, "--sensitivity-per-volt", options->perVolt,
                              "Sensitivity in dB SPL for 1 V RMS")
                        ->check(withinRange(50.0, 150.0));
    auto* perMilliwatt = addOption(*verb, "--sensitivity-per-milliwatt", options->perMilliwatt,
                                   "Sensitivity in dB SPL for 1 mW")
                             ->check(withinRange(50.0, 150.0));
    auto* impedance = addOption(*verb, "--impedance", calibration.impedanceOhms,
                                "Impedance of the headphone in ohms")
                          ->check(withinRange(1.0, 10000.0));
    auto* volts = addOption(*verb, "--full-scale-volts", calibration.fullScaleVolts,
                            "Output voltage, RMS, of a full-scale sine without load")
                      ->check(withinRange(0.001, 100.0));
    addOption(*verb, "--output-impedance", calibration.outputImpedanceOhms,
              "Impedance of the output in ohms")
        ->check(withinRange(0.0, 10000.0))
        ->capture_default_str();
    auto* measured = addOption(*verb, "--measured-spl", calibration.measuredSplDb,
                               "Measured level of a 1 kHz sine in dB SPL")
                         ->check(withinRange(30.0, 130.0));
    auto* level = addOption(*verb, "--signal-level", calibration.measuredLevelDbfs,
                            "Level of the signal that played then in dBFS (AES17)")
                      ->check(withinRange(-120.0, 0.0));
    measured->needs(level);
    level->needs(measured);
    perVolt->needs(volts);
    perMilliwatt->needs(volts);
    perMilliwatt->needs(impedance);
    addOption(*verb, "--ceiling", options->ceilingDba, "Ceiling in dB(A) to work out in dBFS")
        ->check(withinRange(40.0, 120.0))
        ->capture_default_str();
    addOption(*verb, "--out", options->out, "HEADPHONE.json to write")->required();
    verb->callback([options, perVolt, perMilliwatt, measured, &shared] {
        options->isPerVolt = perVolt->count() > 0;
        options->isPerMilliwatt = perMilliwatt->count() > 0;
        options->isMeasured = measured->count() > 0;
        shared.action = [options] { return runHeadphoneLevel(*options); };
    });
}

void addPlacement(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<PlacementOptions>();
    CLI::App* verb = addVerb(app, "placement",
                             "Write the two ear filters of a speaker, from head-related responses");
    addOption(*verb, "--head", options->head,
              "SOFA file, SimpleFreeFieldHRIR (default: the set that libmysofa ships)");
    addOption(*verb, "--speaker", options->speaker,
              "front-left, front-right, rear-left or rear-right")
        ->capture_default_str();
    auto* azimuth = addOption(*verb, "--azimuth", options->azimuth,
                              "Another azimuth in degrees: 0 ahead, 90 left, -90 right")
                        ->check(withinRange(-360.0, 360.0));
    auto* elevation = addOption(*verb, "--elevation", options->elevation,
                                "Another elevation in degrees: above 0 is up")
                          ->check(withinRange(-90.0, 90.0));
    addOption(*verb, "--normalisation", options->normalisation, "on-axis or diffuse-field")
        ->check(oneOf({"on-axis", "diffuse-field"}))
        ->capture_default_str();
    addOption(*verb, "--rate", options->sampleRate, "Sample rate in whole Hz")
        ->check(withinRange(8000.0, 384000.0))
        ->capture_default_str();
    addOption(*verb, "--out", options->out, "WAV to write: left ear, right ear")->required();
    verb->callback([options, azimuth, elevation, &shared] {
        options->hasAzimuth = azimuth->count() > 0;
        options->hasElevation = elevation->count() > 0;
        shared.action = [options] { return runPlacement(*options); };
    });
}

} // namespace

void addSeatVerbs(CLI::App& app, Shared& shared)
{
    addHeadphone(app, shared);
    addHeadphoneLevel(app, shared);
    addPlacement(app, shared);
}

} // namespace saddletone::commandline
