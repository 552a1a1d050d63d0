#include "CommandLine/Verbs.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/BandAnalysis.h"
#include "Core/Measure/Comparison.h"
#include "Core/Measure/Measurement.h"
#include "Core/Tuning/Tuning.h"

#include <algorithm>
#include <memory>
#include <numbers>
#include <optional>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

std::string padded(const std::string& text, std::size_t width)
{
    return std::string(width > text.size() ? width - text.size() : 0, ' ') + text;
}

dsp::Result<measure::Recording> readRecording(const std::string& file)
{
    auto audio = files::readAudioFile(file);
    if (!audio)
        return audio.unexpected();
    return measure::Recording {file, std::move(*audio)};
}

/** Frequencies of tables: twenty-fourths of an octave within a range. */
std::vector<double> tableFrequencies(double fromHz, double toHz)
{
    std::vector<double> frequencies;
    for (const dsp::Band& band : dsp::octaveBands(24, 20.0, 20000.0))
        if (band.centreHz >= fromHz && band.centreHz <= toHz)
            frequencies.push_back(band.centreHz);
    return frequencies;
}

std::vector<double> phasesDegrees(const std::vector<std::complex<double>>& values)
{
    std::vector<double> phases;
    for (const auto& value : values)
        phases.push_back(std::arg(value) * 180.0 / std::numbers::pi);
    return phases;
}

struct MeasureOptions {
    std::vector<std::string> recordings;
    std::string signal;
    std::string microphone;
    std::string calibration;
    double calibrationSpl = 94.0;
    std::string noise;
    std::string out;
    std::string table;
    std::string impulse;
    std::string name;
    std::string profile;
    std::string engine = "off";
    double speedKmh = 0.0;
    std::string place;
    std::string volumeStep;
};

Outcome runMeasure(const MeasureOptions& options)
{
    measure::MeasurementRequest request;
    const auto engine = measure::parseEngineState(options.engine);
    if (!engine)
        return usageFailure(engine.error().message);
    request.name =
        options.name.empty() ? std::filesystem::path(options.out).stem().string() : options.name;
    request.state = {options.profile, *engine, options.speedKmh, options.place, options.volumeStep};

    const auto track = signals::loadSignalDescription(options.signal);
    if (!track)
        return inputFailure(track.error());
    request.track = *track;
    if (!options.microphone.empty()) {
        const auto table = files::readFrequencyTable(options.microphone);
        if (!table)
            return inputFailure(table.error());
        request.microphone = *table;
    }
    if (!options.calibration.empty()) {
        const auto tone = readRecording(options.calibration);
        if (!tone)
            return inputFailure(tone.error());
        const auto calibration = measure::readCalibration(*tone, options.calibrationSpl);
        if (!calibration)
            return inputFailure(calibration.error());
        request.calibration = *calibration;
    }
    if (!options.noise.empty()) {
        auto noise = readRecording(options.noise);
        if (!noise)
            return inputFailure(noise.error());
        request.noise = std::move(*noise);
    }
    for (const std::string& file : options.recordings) {
        showProgress("reading " + file);
        auto recording = readRecording(file);
        if (!recording)
            return inputFailure(recording.error());
        request.recordings.push_back(std::move(*recording));
    }
    showProgress("measuring");
    const auto response = measure::measureResponse(request);
    if (!response)
        return inputFailure(response.error());

    if (!options.table.empty()) {
        const auto frequencies = tableFrequencies(response->fromHz, response->toHz);
        const auto text = files::csvText({"frequency_hz", "level_db", "phase_degrees"},
                                         {frequencies, response->magnitudeDb(frequencies, 24),
                                          phasesDegrees(response->at(frequencies))},
                                         4);
        if (const auto written = files::writeTextFile(options.table, text); !written)
            return inputFailure(written.error());
    }
    if (!options.impulse.empty()) {
        const dsp::AudioBuffer audio {response->sampleRate, {response->impulse}};
        if (const auto written =
                files::writeAudioFile(audio, options.impulse, files::SampleFormat::float32);
            !written)
            return inputFailure(written.error());
    }
    if (const auto saved = measure::saveResponse(*response, options.out); !saved)
        return inputFailure(saved.error());

    Output output;
    output.text = options.out + ": response from " + std::to_string(response->numTakes)
                  + " take(s), " + fixedText(response->fromHz, 0) + " Hz to "
                  + fixedText(response->toHz, 0) + " Hz\n" + "clock: recorder "
                  + fixedText(response->clockPpm, 2) + " ppm against the player\n"
                  + "least signal-to-noise ratio of a third octave, 40 Hz to 16 kHz: "
                  + fixedText(response->snrDb, 1) + " dB\n";
    for (const std::string& remark : response->remarks)
        output.text += "note: " + remark + "\n";
    output.json = {{"state", options.out},
                   {"numTakes", response->numTakes},
                   {"clockPpm", response->clockPpm},
                   {"snrDb", response->snrDb},
                   {"fromHz", response->fromHz},
                   {"toHz", response->toHz},
                   {"calibrated", response->hasCalibration},
                   {"remarks", response->remarks}};
    return output;
}

void addMeasure(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<MeasureOptions>();
    CLI::App* verb =
        app.add_subcommand("measure", "Turn recordings of a sweep track into a response");
    verb->add_option("--recording", options->recordings,
                     "Recording at the rider's head; several are averaged")
        ->required();
    verb->add_option("--signal", options->signal,
                     "Description of the track that was played (F.signal.json)")
        ->required();
    verb->add_option("--microphone", options->microphone, "Table of the microphone's response");
    auto* calibration = verb->add_option("--calibration", options->calibration,
                                         "Recording of a calibrator's 1 kHz tone");
    verb->add_option("--calibration-spl", options->calibrationSpl,
                     "Level of the calibrator in dB SPL")
        ->capture_default_str()
        ->needs(calibration);
    verb->add_option("--noise", options->noise, "Recording of the place without the track");
    verb->add_option("--out", options->out, "STATE.json to write")->required();
    verb->add_option("--table", options->table, "Table of the response to write (CSV)");
    verb->add_option("--impulse", options->impulse, "Impulse response to write (WAV)");
    verb->add_option("--name", options->name, "Name of the state");
    verb->add_option("--profile", options->profile, "Radio profile");
    verb->add_option("--engine", options->engine, "off, idle or running")->capture_default_str();
    verb->add_option("--speed-kmh", options->speedKmh, "Speed while measuring")
        ->check(CLI::Range(0.0, 400.0));
    verb->add_option("--place", options->place, "Place of the microphone");
    verb->add_option("--volume-step", options->volumeStep, "Volume step of the radio");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runMeasure(*options); }; });
}

struct AnalyseOptions {
    std::string recording;
    int bands = 3;
    std::string weighting = "Z";
    std::string table;
};

Outcome runAnalyse(const AnalyseOptions& options)
{
    const auto weighting = dsp::parseWeighting(options.weighting);
    if (!weighting)
        return usageFailure(weighting.error().message);
    const auto audio = files::readAudioFile(options.recording);
    if (!audio)
        return inputFailure(audio.error());
    const auto analysis = measure::analyseBands(*audio, options.bands, *weighting);
    std::vector<double> centres;
    for (const dsp::Band& band : analysis.bands)
        centres.push_back(band.centreHz);
    if (!options.table.empty())
        if (const auto written =
                files::writeTextFile(options.table, files::csvText({"frequency_hz", "level_dbfs"},
                                                                   {centres, analysis.levelsDbfs}));
            !written)
            return inputFailure(written.error());

    Output output;
    output.text = "band Hz    level dBFS(" + options.weighting + ")\n";
    for (std::size_t band = 0; band < centres.size(); ++band)
        output.text += padded(options.bands == 3 ? dsp::nominalLabel(centres[band])
                                                 : fixedText(centres[band], 1),
                              7)
                       + padded(fixedText(analysis.levelsDbfs[band], 2), 14) + "\n";
    output.text += "  total" + padded(fixedText(analysis.totalDbfs, 2), 14) + "\n";
    output.json = {{"recording", options.recording},
                   {"weighting", options.weighting},
                   {"frequenciesHz", centres},
                   {"levelsDbfs", analysis.levelsDbfs},
                   {"totalDbfs", analysis.totalDbfs}};
    return output;
}

void addAnalyse(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<AnalyseOptions>();
    CLI::App* verb =
        app.add_subcommand("analyse", "Banded levels of pink noise or any other recording");
    verb->add_option("--recording", options->recording, "Audio file")->required();
    verb->add_option("--bands", options->bands, "Bands an octave: 3, 6, 12 or 24")
        ->check(CLI::IsMember({3, 6, 12, 24}))
        ->capture_default_str();
    verb->add_option("--weighting", options->weighting, "A, C or Z")->capture_default_str();
    verb->add_option("--table", options->table, "Table to write (CSV)");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runAnalyse(*options); }; });
}

struct CompareOptions {
    std::vector<std::string> states;
    std::string reference;
    std::string table;
};

std::string stateWords(const measure::Response& response)
{
    return (response.state.radioProfile.empty() ? response.name : response.state.radioProfile)
           + ", engine " + std::string(measure::engineStateName(response.state.engine));
}

Outcome runCompare(const CompareOptions& options)
{
    std::vector<std::string> others = options.states;
    std::string referenceFile = options.reference;
    if (referenceFile.empty()) {
        if (others.size() < 2)
            return usageFailure("compare needs two states, or one state and --reference STATE");
        referenceFile = others.front();
        others.erase(others.begin());
    }
    const auto reference = measure::loadResponse(referenceFile);
    if (!reference)
        return inputFailure(reference.error());

    Output output;
    output.json = {{"reference", referenceFile}, {"comparisons", nlohmann::json::array()}};
    std::vector<std::string> header {"frequency_hz"};
    std::vector<std::vector<double>> columns {{}};
    for (const measure::BandConfidence& band : reference->bands)
        columns.front().push_back(band.frequencyHz);
    const auto evenness = [](const measure::Response& response) {
        const auto flatness = measure::flatnessOf(response, 80.0, 12000.0);
        return fixedText(flatness.rmsDb, 1) + " dB RMS, at most " + fixedText(flatness.largestDb, 1)
               + " dB at " + dsp::nominalLabel(std::max(flatness.largestAtHz, 1.0)) + " Hz";
    };
    output.text = "reference: " + referenceFile + " (" + stateWords(*reference)
                  + ")\n  evenness 80 Hz to 12 kHz: " + evenness(*reference) + "\n";
    for (const std::string& file : others) {
        const auto other = measure::loadResponse(file);
        if (!other)
            return inputFailure(other.error());
        const auto comparison = measure::compareResponses(*reference, *other);
        output.text += file + " (" + stateWords(*other)
                       + ")\n  evenness 80 Hz to 12 kHz: " + evenness(*other) + "\n";
        output.text += "  band Hz  difference dB  +- dB\n";
        nlohmann::json bands = nlohmann::json::array();
        std::vector<double> differences;
        for (const measure::BandDifference& band : comparison.bands) {
            output.text +=
                padded(dsp::nominalLabel(band.frequencyHz), 9)
                + padded(band.trusted ? fixedText(band.differenceDb, 2) : "not reliable", 15)
                + padded(band.trusted ? fixedText(band.uncertaintyDb, 2) : "", 7) + "\n";
            bands.push_back({{"frequencyHz", band.frequencyHz},
                             {"differenceDb", band.differenceDb},
                             {"uncertaintyDb", band.uncertaintyDb},
                             {"trusted", band.trusted}});
            differences.push_back(band.differenceDb);
        }
        const bool running = reference->state.engine != other->state.engine;
        const std::string largest = fixedText(comparison.largestDifferenceDb, 1) + " dB at "
                                    + dsp::nominalLabel(std::max(comparison.largestAtHz, 1.0))
                                    + " Hz";
        output.text +=
            comparison.significant
                ? "  verdict: "
                      + std::string(running ? "this radio changes its curve with the engine: "
                                            : "the two curves differ: ")
                      + largest + "\n"
                : "  verdict: the same curve within what can be told apart (largest difference "
                      + largest + ")\n";
        output.json["comparisons"].push_back(
            {{"state", file},
             {"significant", comparison.significant},
             {"largestDifferenceDb", comparison.largestDifferenceDb},
             {"largestAtHz", comparison.largestAtHz},
             {"levelDifferenceDb", comparison.levelDifferenceDb},
             {"bands", std::move(bands)}});
        if (differences.size() == columns.front().size()) {
            header.push_back("difference_db_" + std::to_string(columns.size()));
            columns.push_back(std::move(differences));
        }
    }
    if (!options.table.empty())
        if (const auto written =
                files::writeTextFile(options.table, files::csvText(header, columns));
            !written)
            return inputFailure(written.error());
    return output;
}

void addCompare(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<CompareOptions>();
    CLI::App* verb =
        app.add_subcommand("compare", "Difference of bike states by band, evenness, and a verdict");
    verb->add_option("states", options->states,
                     "STATE.json files; without --reference the first is it")
        ->required();
    verb->add_option("--reference", options->reference, "State that the others are compared to");
    verb->add_option("--table", options->table, "Table of the differences to write (CSV)");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runCompare(*options); }; });
}

struct PredictOptions {
    std::string measured;
    std::string tuning;
    std::string table;
    std::string side = "left";
};

Outcome runPredict(const PredictOptions& options)
{
    const auto response = measure::loadResponse(options.measured);
    if (!response)
        return inputFailure(response.error());
    const auto tuning = tuning::loadTuning(options.tuning);
    if (!tuning)
        return inputFailure(tuning.error());
    const auto side =
        options.side == "right" ? tuning::OutputGroup::right : tuning::OutputGroup::left;

    const auto frequencies = tableFrequencies(response->fromHz, response->toHz);
    const auto before = response->magnitudeDb(frequencies, 24);
    auto measuredPhase = response->at(frequencies);
    std::vector<double> change;
    std::vector<double> after;
    for (std::size_t index = 0; index < frequencies.size(); ++index) {
        const auto gain =
            tuning::tuningResponse(*tuning, side, frequencies[index], response->sampleRate);
        change.push_back(dsp::amplitudeToDb(std::abs(gain)));
        after.push_back(before[index] + change.back());
        measuredPhase[index] *= gain;
    }
    const auto text =
        files::csvText({"frequency_hz", "level_db", "phase_degrees", "measured_db", "tuning_db"},
                       {frequencies, after, phasesDegrees(measuredPhase), before, change}, 4);
    if (const auto written = files::writeTextFile(options.table, text); !written)
        return inputFailure(written.error());
    Output output;
    const auto largest = std::ranges::max_element(change);
    output.text =
        options.table + ": response expected with the tuning (an estimate until it is measured)\n"
        + "largest boost of the tuning: " + fixedText(*largest, 1) + " dB at "
        + fixedText(frequencies[static_cast<std::size_t>(largest - change.begin())], 0) + " Hz\n";
    output.json = {{"table", options.table}, {"largestBoostDb", *largest}};
    return output;
}

void addPredict(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<PredictOptions>();
    CLI::App* verb = app.add_subcommand("predict", "Response expected after a tuning");
    verb->add_option("--measured", options->measured, "STATE.json")->required();
    verb->add_option("--tuning", options->tuning, "TUNING.json")->required();
    verb->add_option("--table", options->table, "Table to write (CSV)")->required();
    verb->add_option("--side", options->side, "left or right, where chains differ")
        ->check(CLI::IsMember({"left", "right"}))
        ->capture_default_str();
    verb->callback(
        [options, &shared] { shared.action = [options] { return runPredict(*options); }; });
}

} // namespace

void addMeasureVerbs(CLI::App& app, Shared& shared)
{
    addMeasure(app, shared);
    addAnalyse(app, shared);
    addCompare(app, shared);
    addPredict(app, shared);
}

} // namespace saddletone::commandline
