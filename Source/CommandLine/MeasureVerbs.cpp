#include "CommandLine/CalibrationOption.h"
#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/StateOptions.h"
#include "CommandLine/TableColumns.h"
#include "CommandLine/Verbs.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/BandAnalysis.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Core/Measure/Comparison.h"
#include "Core/Measure/DirectSound.h"
#include "Core/Measure/FilterAnalysis.h"
#include "Core/Measure/Measurement.h"
#include "Core/Measure/MicrophoneCurves.h"
#include "Core/Measure/ResponseWindow.h"
#include "Core/Measure/Smoothing.h"
#include "Core/Measure/StateOrigin.h"

#include <algorithm>
#include <filesystem>
#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

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

struct MeasureOptions {
    std::vector<std::string> recordings;
    std::string signal;
    std::string microphone;
    std::string microphone90;
    std::string incidence = "0";
    std::string calibration;
    double calibrationSpl = 94.0;
    std::string noise;
    std::string table;
    std::string smoothing = "24";
    std::string impulse;
    StateOptions made;
    double windowMs = 0.0;     // 0: the whole response
    double windowCycles = 0.0; // 0: the same length at all frequencies
    double partFromSeconds = 0.0;
    std::optional<double> partToSeconds; // none: to the end
    std::optional<double> trackStartSeconds;
};

/** Largest value of a member over the trusted bands, with the band. */
std::string largestOfBands(const measure::Response& response,
                           double measure::BandConfidence::*member)
{
    const measure::BandConfidence* largest = nullptr;
    for (const measure::BandConfidence& band : response.bands)
        if (band.trusted && (largest == nullptr || band.*member > largest->*member))
            largest = &band;
    return largest == nullptr ? std::string("no band is trusted")
                              : fixedText(largest->*member, 2) + " dB at "
                                    + dsp::nominalLabel(largest->frequencyHz) + " Hz";
}

/** The most distorted places of each order; what does not stand out of the noise is left out. */
std::string distortionText(const measure::Response& response)
{
    std::string text;
    for (const measure::HarmonicOrder& order : response.distortion) {
        const measure::HarmonicLevel* largest = nullptr;
        std::size_t numSignificant = 0;
        for (const measure::HarmonicLevel& level : order.levels) {
            if (!level.significant())
                continue;
            ++numSignificant;
            if (largest == nullptr || level.levelDb > largest->levelDb)
                largest = &level;
        }
        text += "distortion, order " + std::to_string(order.order) + ": "
                + (largest == nullptr
                       ? std::string("below the noise")
                       : "at most " + fixedText(largest->levelDb, 1) + " dB re the fundamental, at "
                             + dsp::nominalLabel(largest->frequencyHz) + " Hz (above the noise in "
                             + std::to_string(numSignificant) + " of "
                             + std::to_string(order.levels.size()) + " third octaves)")
                + "\n";
    }
    return text;
}

nlohmann::json distortionJson(const measure::Response& response)
{
    nlohmann::json orders = nlohmann::json::array();
    for (const measure::HarmonicOrder& order : response.distortion) {
        nlohmann::json levels = nlohmann::json::array();
        for (const measure::HarmonicLevel& level : order.levels)
            levels.push_back({{"frequencyHz", level.frequencyHz},
                              {"levelDb", level.levelDb},
                              {"floorDb", level.floorDb},
                              {"significant", level.significant()}});
        orders.push_back({{"order", order.order}, {"levels", std::move(levels)}});
    }
    return orders;
}

nlohmann::json bandsJson(const measure::Response& response)
{
    nlohmann::json bands = nlohmann::json::array();
    for (const measure::BandConfidence& band : response.bands)
        bands.push_back({{"frequencyHz", band.frequencyHz},
                         {"levelDb", band.levelDb},
                         {"snrDb", band.snrDb},
                         {"spreadDb", band.spreadDb},
                         {"uncertaintyDb", band.uncertaintyDb},
                         {"interval95Db", band.interval95Db},
                         {"trusted", band.trusted}});
    return bands;
}

/** Levels for a table: power-averaged over a fraction of an octave, or as the ear weighs them. */
std::vector<double> smoothedDb(const measure::Response& response,
                               const std::vector<double>& frequenciesHz,
                               const std::string& smoothing)
{
    return smoothing == "ear" ? measure::psychoacousticDb(response, frequenciesHz)
                              : response.magnitudeDb(frequenciesHz, std::stoi(smoothing));
}

/** Silences what lies outside a part, so that times go on counting from the recording's start. */
void keepPart(dsp::AudioBuffer& audio, double fromSeconds, std::optional<double> toSeconds)
{
    const auto frameAt = [&](double seconds) {
        return static_cast<std::ptrdiff_t>(
            std::min(seconds * audio.sampleRate, static_cast<double>(audio.numFrames())));
    };
    for (auto& samples : audio.channels) {
        std::fill(samples.begin(), samples.begin() + frameAt(fromSeconds), 0.0F);
        if (toSeconds)
            std::fill(samples.begin() + frameAt(*toSeconds), samples.end(), 0.0F);
    }
}

/** When a recording was made: as its record states, if it has one, else today. */
measure::StateOrigin originOf(const MeasureOptions& options,
                              const std::string& calibratedMicrophone)
{
    measure::StateOrigin origin;
    std::error_code reason;
    const std::string& recording = options.recordings.front();
    if (std::filesystem::exists(measure::takeRecordFile(recording), reason))
        if (const auto record = measure::loadTakeRecord(recording))
            origin = measure::originOf(*record);
    if (!options.made.measuredOn.empty() || origin.measuredOn.empty())
        origin.measuredOn =
            options.made.measuredOn.empty() ? measure::todayUtc() : options.made.measuredOn;
    if (!options.made.microphoneName.empty())
        origin.microphone = options.made.microphoneName;
    else if (!calibratedMicrophone.empty())
        origin.microphone = calibratedMicrophone;
    return origin;
}

Outcome runMeasure(const MeasureOptions& options)
{
    measure::MeasurementRequest request;
    const auto state = options.made.state();
    if (!state)
        return usageFailure(state.error().message);
    request.name = options.made.stateName();
    request.state = *state;

    if (auto failure = checkEnding("--impulse", options.impulse, {".wav"}))
        return *std::move(failure);
    if (options.partToSeconds && *options.partToSeconds <= options.partFromSeconds)
        return usageFailure("measure: --part-from has to lie below --part-to");
    std::vector<std::string> inputs = options.recordings;
    inputs.insert(inputs.end(), {options.signal, options.microphone, options.microphone90,
                                 options.calibration, options.noise});
    std::vector<std::string> outputs = options.made.files();
    outputs.insert(outputs.end(), {options.table, options.impulse});
    if (auto failure = checkOutputs(inputs, outputs))
        return *std::move(failure);

    const auto track = signals::loadSignalDescription(options.signal);
    if (!track)
        return inputFailure(track.error());
    request.track = *track;
    std::string microphoneNote;
    if (!options.microphone.empty() || !options.microphone90.empty()) {
        const auto incidence = measure::parseIncidence(options.incidence);
        if (!incidence)
            return usageFailure(incidence.error().message);
        const auto curves = measure::readMicrophoneCurves(options.microphone, options.microphone90);
        if (!curves)
            return inputFailure(curves.error());
        auto chosen = measure::chooseCurve(*curves, *incidence);
        if (!chosen)
            return inputFailure(chosen.error());
        request.microphone = std::move(chosen->table);
        microphoneNote = std::move(chosen->remark);
    }
    std::string calibrationNote;
    std::string calibratedMicrophone;
    if (!options.calibration.empty()) {
        auto calibration = calibrationFrom(options.calibration, options.calibrationSpl);
        if (!calibration)
            return inputFailure(calibration.error());
        request.calibration = calibration->calibration;
        calibrationNote = std::move(calibration->note);
        calibratedMicrophone = std::move(calibration->microphone);
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
        keepPart(recording->audio, options.partFromSeconds, options.partToSeconds);
        // The same noise twice would pass for what repeats, and the interval for a narrow one.
        for (const measure::Recording& earlier : request.recordings)
            if (earlier.audio == recording->audio)
                return usageFailure("'" + earlier.name + "' and '" + file
                                    + "' are the same recording; give each take once");
        request.recordings.push_back(std::move(*recording));
    }
    showProgress("measuring");
    auto response = measure::measureResponse(request);
    if (!response)
        return inputFailure(response.error());
    const auto checksum = files::fileChecksum(options.recordings.front());
    if (!checksum)
        return inputFailure(checksum.error());
    response->recordingChecksum = *checksum;
    response->trackStartSeconds = options.trackStartSeconds;
    if (!microphoneNote.empty())
        response->remarks.push_back(microphoneNote);
    std::optional<double> lowestHz;
    if (options.windowMs > 0.0 || options.windowCycles > 0.0) {
        auto windowed = options.windowMs > 0.0
                            ? measure::windowFixed(*response, options.windowMs)
                            : measure::windowCycles(*response, options.windowCycles);
        // The sweep's own start may lie above what the window could tell.
        lowestHz = std::max(windowed.lowestHz, windowed.response.fromHz);
        *response = std::move(windowed.response);
    }

    if (!options.table.empty()) {
        const auto frequencies = tableFrequencies(response->fromHz, response->toHz);
        const auto text =
            files::csvText({"frequency_hz", "level_db", "phase_degrees"},
                           {frequencies, smoothedDb(*response, frequencies, options.smoothing),
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
    if (const auto saved = measure::saveResponse(*response, options.made.out); !saved)
        return inputFailure(saved.error());
    const measure::StateOrigin origin = originOf(options, calibratedMicrophone);
    if (const auto noted = measure::noteOrigin(origin, options.made.out); !noted)
        return inputFailure(noted.error());

    Output output;
    output.text = options.made.out + ": response from " + std::to_string(response->numTakes)
                  + " take(s), " + fixedText(response->fromHz, 0) + " Hz to "
                  + fixedText(response->toHz, 0) + " Hz\n" + "clock: recorder "
                  + fixedText(response->clockPpm, 2) + " ppm against the player\n"
                  + "least signal-to-noise ratio of a third octave, 40 Hz to 16 kHz: "
                  + fixedText(response->snrDb, 1) + " dB\n" + "95 % interval of a band, at most: +-"
                  + largestOfBands(*response, &measure::BandConfidence::interval95Db) + "\n";
    if (response->numTakes > 1)
        output.text += "spread between takes (standard deviation), at most: "
                       + largestOfBands(*response, &measure::BandConfidence::spreadDb) + "\n";
    output.text += distortionText(*response)
                   + "polarity: " + std::string(measure::polarityName(response->polarity)) + " ("
                   + response->polarityReason + ")\n";
    for (const std::string& remark : response->remarks)
        output.text += "note: " + remark + "\n";
    if (!calibrationNote.empty())
        output.text += "note: " + calibrationNote + "\n";
    output.json = {{"state", options.made.out},
                   {"numTakes", response->numTakes},
                   {"clockPpm", response->clockPpm},
                   {"snrDb", response->snrDb},
                   {"fromHz", response->fromHz},
                   {"toHz", response->toHz},
                   {"calibrated", response->hasCalibration},
                   {"measuredOn", origin.measuredOn},
                   {"microphone", origin.microphone},
                   {"bands", bandsJson(*response)},
                   {"distortion", distortionJson(*response)},
                   {"polarity",
                    {{"sign", measure::polarityName(response->polarity)},
                     {"reason", response->polarityReason}}},
                   {"arrivalSeconds", response->arrivalSeconds},
                   {"remarks", response->remarks}};
    if (lowestHz)
        output.json["lowestHz"] = *lowestHz;
    return output;
}

void addMeasure(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<MeasureOptions>();
    CLI::App* verb = addVerb(app, "measure", "Turn recordings of a sweep track into a response");
    addOption(*verb, "--recording", options->recordings,
              "Recording at the rider's head; several are averaged, and so are the repeats "
              "of the track in one")
        ->required();
    addOption(*verb, "--signal", options->signal,
              "Description of the track that was played (F.signal.json)")
        ->required();
    addOption(*verb, "--microphone", options->microphone,
              "Table of the microphone's response, sound from the front (0 degrees)");
    addOption(*verb, "--microphone-90", options->microphone90,
              "The same for sound from the side (90 degrees)");
    addOption(*verb, "--incidence", options->incidence,
              "How the microphone stood to the speakers: 0 or 90 degrees")
        ->capture_default_str();
    auto* calibration = addOption(*verb, "--calibration", options->calibration,
                                  "Recording of a calibrator's 1 kHz tone, or what "
                                  "`calibrate` saved (CAL.json)");
    addOption(*verb, "--calibration-spl", options->calibrationSpl,
              "Level of the calibrator in dB SPL; a saved calibration brings its own")
        ->check(withinRange(60.0, 130.0))
        ->capture_default_str()
        ->needs(calibration);
    addOption(*verb, "--part-from", options->partFromSeconds,
              "Use the recordings from this second on; what is before counts as silence")
        ->check(withinRange(0.0, 36000.0));
    addOption(*verb, "--part-to", options->partToSeconds,
              "Use them up to this second: one speaker group of several in one recording")
        ->check(withinRange(0.0, 36000.0));
    addOption(*verb, "--track-start", options->trackStartSeconds,
              "Second at which this sweep track starts in the file that was played, if that "
              "holds several: arrivals of one recording's speaker groups are then compared")
        ->check(withinRange(0.0, 36000.0));
    addOption(*verb, "--noise", options->noise, "Recording of the place without the track");
    addOption(*verb, "--table", options->table, "Table of the response to write (CSV)");
    addOption(*verb, "--smoothing", options->smoothing,
              "Of the table only: 3, 6, 12 or 24 to an octave, ear (as the ear weighs peaks "
              "and dips), 0 = none")
        ->check(oneOf({"0", "3", "6", "12", "24", "ear"}))
        ->capture_default_str();
    addOption(*verb, "--impulse", options->impulse, "Impulse response to write (WAV)");
    addStateOptions(*verb, options->made);
    auto* window = addOption(*verb, "--window-ms", options->windowMs,
                             "Keep this long after the arrival, to leave reflections out")
                       ->check(withinRange(1.0, 1000.0));
    addOption(*verb, "--window-cycles", options->windowCycles,
              "Keep this many cycles of each frequency after the arrival")
        ->check(withinRange(1.0, 100.0))
        ->excludes(window);
    verb->callback(
        [options, &shared] { shared.action = [options] { return runMeasure(*options); }; });
}

struct AnalyseOptions {
    std::string recording;
    int bands = 3;
    std::string weighting = "Z";
    std::string method = "fourier";
    std::string table;
};

Outcome runAnalyse(const AnalyseOptions& options)
{
    const auto weighting = dsp::parseWeighting(options.weighting);
    if (!weighting)
        return usageFailure(weighting.error().message);
    if (auto failure = checkOutputs({options.recording}, {options.table}))
        return *std::move(failure);
    const auto audio = files::readAudioFile(options.recording);
    if (!audio)
        return inputFailure(audio.error());
    const bool byFilters = options.method == "filters";
    if (byFilters && audio->sampleRate < 32000.0)
        return inputFailure({dsp::ErrorCode::unsupported,
                             "'" + options.recording + "' has " + fixedText(audio->sampleRate, 0)
                                 + " Hz; the filters need 32000 Hz or more: use --method fourier"});
    const auto analysis = byFilters
                              ? measure::analyseBandsByFilters(*audio, options.bands, *weighting)
                              : measure::analyseBands(*audio, options.bands, *weighting);
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
    output.json = {{"recording", options.recording},    {"weighting", options.weighting},
                   {"method", options.method},          {"frequenciesHz", centres},
                   {"levelsDbfs", analysis.levelsDbfs}, {"totalDbfs", analysis.totalDbfs}};
    return output;
}

void addAnalyse(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<AnalyseOptions>();
    CLI::App* verb = addVerb(app, "analyse", "Banded levels of pink noise or any other recording");
    addOption(*verb, "--recording", options->recording, "Audio file")->required();
    addOption(*verb, "--bands", options->bands, "Bands an octave: 3, 6, 12 or 24")
        ->check(CLI::IsMember({3, 6, 12, 24}))
        ->capture_default_str();
    addOption(*verb, "--weighting", options->weighting, "A, C or Z")->capture_default_str();
    addOption(*verb, "--method", options->method,
              "fourier: exact band edges; filters: class 1 filters of IEC 61260-1, as the "
              "live analyser has them")
        ->check(oneOf({"fourier", "filters"}))
        ->capture_default_str();
    addOption(*verb, "--table", options->table, "Table to write (CSV)");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runAnalyse(*options); }; });
}

struct CompareOptions {
    std::vector<std::string> states;
    std::string reference;
    std::string left;
    std::string right;
    std::optional<double> tracksApartSeconds;
    double fromHz = 80.0;
    double toHz = 12000.0;
    std::string table;
};

std::string stateWords(const measure::Response& response)
{
    return (response.state.radioProfile.empty() ? response.name : response.state.radioProfile)
           + (response.state.speakers == measure::SpeakerGroup::all
                  ? std::string()
                  : ", " + measure::speakerGroupWords(response.state.speakers) + " speakers")
           + ", engine " + std::string(measure::engineStateName(response.state.engine));
}

std::string bandWords(double frequencyHz)
{
    return dsp::nominalLabel(std::max(frequencyHz, 1.0)) + " Hz";
}

std::string signedDb(double value)
{
    return (value > 0.0 ? "+" : "") + fixedText(value, 1) + " dB";
}

std::string bumpWords(const std::optional<measure::Bump>& bump)
{
    if (!bump)
        return "none";
    return signedDb(bump->heightDb) + " (+- " + fixedText(bump->uncertaintyDb, 2) + ") around "
           + fixedText(bump->centreHz, 0) + " Hz, " + (bump->isOpen ? "at least " : "")
           + fixedText(bump->widthOctaves, 2) + " octaves wide at half its height";
}

nlohmann::json bumpJson(const std::optional<measure::Bump>& bump)
{
    if (!bump)
        return nullptr;
    return {{"heightDb", bump->heightDb},
            {"uncertaintyDb", bump->uncertaintyDb},
            {"peakHz", bump->peakHz},
            {"centreHz", bump->centreHz},
            {"lowerHz", bump->lowerHz},
            {"upperHz", bump->upperHz},
            {"widthOctaves", bump->widthOctaves},
            {"isOpen", bump->isOpen}};
}

nlohmann::json bandsJson(const std::vector<measure::BandDifference>& bands)
{
    auto json = nlohmann::json::array();
    for (const measure::BandDifference& band : bands)
        json.push_back({{"frequencyHz", band.frequencyHz},
                        {"referenceDb", band.referenceDb},
                        {"otherDb", band.otherDb},
                        {"differenceDb", band.differenceDb},
                        {"uncertaintyDb", band.uncertaintyDb},
                        {"sigmas", band.sigmas},
                        {"trusted", band.trusted}});
    return json;
}

std::string bandLines(const std::vector<measure::BandDifference>& bands)
{
    std::string text = "  band Hz  difference dB  +- dB\n";
    for (const measure::BandDifference& band : bands)
        text += padded(dsp::nominalLabel(band.frequencyHz), 9)
                + padded(band.trusted ? fixedText(band.differenceDb, 2) : "not reliable", 15)
                + padded(band.trusted ? fixedText(band.uncertaintyDb, 2) : "", 7) + "\n";
    return text;
}

/** Evenness, bump and dip of one state over the chosen range. */
Output describeCurve(const measure::Response& response, const CompareOptions& options)
{
    const auto flatness = measure::flatnessOf(response, options.fromHz, options.toHz);
    const auto bump = measure::largestBump(response, options.fromHz, options.toHz);
    const auto dip = measure::largestDip(response, options.fromHz, options.toHz);
    Output output;
    output.text =
        "  evenness " + fixedText(options.fromHz, 0) + " Hz to " + fixedText(options.toHz, 0)
        + " Hz: "
        + (flatness.numBands == 0
               ? "no band could be relied on"
               : fixedText(flatness.rmsDb, 1) + " dB RMS, at most " + signedDb(flatness.largestDb)
                     + " at " + bandWords(flatness.largestAtHz))
        + "\n  largest bump: " + bumpWords(bump) + "\n  largest dip: " + bumpWords(dip) + "\n";
    output.json = {{"evenness",
                    {{"fromHz", flatness.fromHz},
                     {"toHz", flatness.toHz},
                     {"numBands", flatness.numBands},
                     {"rmsDb", flatness.rmsDb},
                     {"largestDb", flatness.largestDb},
                     {"largestAtHz", flatness.largestAtHz}}},
                   {"largestBump", bumpJson(bump)},
                   {"largestDip", bumpJson(dip)}};
    return output;
}

/** What else differed between two states than the engine, and may have changed the curve. */
std::vector<std::string> otherDifferences(const measure::BikeState& reference,
                                          const measure::BikeState& other)
{
    std::vector<std::string> notes;
    if (reference.microphonePlace != other.microphonePlace)
        notes.emplace_back("the microphone stood at another place, which changes the curve too");
    if (reference.volumeStep != other.volumeStep)
        notes.emplace_back("the volume step was another one, and a radio may tie its curve to it");
    if (reference.speakers != other.speakers)
        notes.push_back("other speakers played ("
                        + std::string(measure::speakerGroupName(other.speakers)) + " against "
                        + std::string(measure::speakerGroupName(reference.speakers))
                        + "), so this tells nothing of profile or engine");
    return notes;
}

/** Two states of one radio profile that differ in the engine tell whether it changes the curve. */
bool tellsOfEngine(const measure::BikeState& reference, const measure::BikeState& other)
{
    return reference.engine != other.engine && reference.radioProfile == other.radioProfile
           && reference.speakers == other.speakers;
}

std::string verdictText(const measure::Comparison& comparison, bool ofEngine)
{
    const measure::CurveEvidence& evidence = comparison.evidence;
    if (evidence.numBands < 2)
        return "  verdict: none; fewer than two bands can be relied on in both states\n";
    const std::string largest =
        signedDb(comparison.largestDifferenceDb) + " at " + bandWords(comparison.largestAtHz);
    std::string text;
    if (comparison.significant)
        text = std::string("  verdict: ")
               + (ofEngine ? "this radio changes its curve when the engine runs: "
                           : "the two curves differ: ")
               + largest + "\n  largest change: " + bumpWords(measure::largestChange(comparison))
               + "\n";
    else
        text =
            std::string("  verdict: ")
            + (ofEngine ? "this radio keeps its curve when the engine runs, " : "the same curve, ")
            + "within what can be told apart (largest difference " + largest
            + "; in that band alone " + fixedText(comparison.leastCountingDb, 1)
            + " dB would count)\n";
    return text + "  evidence: " + fixedText(evidence.rmsDb, 2) + " dB RMS over "
           + std::to_string(evidence.numBands) + " bands, where noise and a repeatability of "
           + fixedText(evidence.repeatabilityDb, 2) + " dB (assumed) give "
           + fixedText(evidence.expectedRmsDb, 2) + " dB; most certain band "
           + bandWords(evidence.mostSigmasAtHz) + ", " + fixedText(std::abs(evidence.mostSigmas), 1)
           + " standard deviations; octave " + fixedText(std::abs(evidence.octaveSigmas), 1)
           + "; chance that equal curves look so "
           + (evidence.chance < 1e-4
                  ? "below 0.01"
                  : fixedText(100.0 * evidence.chance, evidence.chance < 0.1 ? 2 : 0))
           + " %\n";
}

nlohmann::json evidenceJson(const measure::CurveEvidence& evidence)
{
    return {{"numBands", evidence.numBands},
            {"repeatabilityDb", evidence.repeatabilityDb},
            {"rmsDb", evidence.rmsDb},
            {"expectedRmsDb", evidence.expectedRmsDb},
            {"chiSquare", evidence.chiSquare},
            {"degreesOfFreedom", evidence.degreesOfFreedom},
            {"chanceOfAll", evidence.chanceOfAll},
            {"mostSigmas", evidence.mostSigmas},
            {"mostSigmasAtHz", evidence.mostSigmasAtHz},
            {"chanceOfLargest", evidence.chanceOfLargest},
            {"octaveSigmas", evidence.octaveSigmas},
            {"octaveAtHz", evidence.octaveAtHz},
            {"chanceOfOctave", evidence.chanceOfOctave},
            {"chance", evidence.chance}};
}

std::string_view relativePolarityName(measure::RelativePolarity polarity)
{
    switch (polarity) {
    case measure::RelativePolarity::same: return "same";
    case measure::RelativePolarity::reversed: return "reversed";
    case measure::RelativePolarity::unknown: break;
    }
    return "unknown";
}

/** Reason why a state cannot be a side of a match; empty if it can. */
std::string reasonAgainstSides(const CompareOptions& options, const measure::Response& left,
                               const measure::Response& right)
{
    const auto group = [](const measure::Response& side) {
        return std::string(measure::speakerGroupName(side.state.speakers));
    };
    const auto leftGroup = left.state.speakers;
    const auto rightGroup = right.state.speakers;
    const bool isLeftTold = leftGroup != measure::SpeakerGroup::all;
    const bool isRightTold = rightGroup != measure::SpeakerGroup::all;
    const auto mirrored = measure::otherSideOf(rightGroup);
    if ((isLeftTold && !measure::isLeftSide(leftGroup))
        || (isRightTold && (!mirrored || !measure::isLeftSide(*mirrored))))
        return "'" + options.left + "' says that the speakers '" + group(left) + "' played and '"
               + options.right + "' that '" + group(right)
               + "' did; give a left group as --left and a right one as --right";
    if (isLeftTold && isRightTold && mirrored != leftGroup)
        return "'" + options.left + "' is of the speakers '" + group(left) + "' and '"
               + options.right + "' of '" + group(right)
               + "', which are not each other's other side";
    return {};
}

Outcome compareSides(const CompareOptions& options)
{
    const auto left = measure::loadResponse(options.left);
    if (!left)
        return inputFailure(left.error());
    const auto right = measure::loadResponse(options.right);
    if (!right)
        return inputFailure(right.error());
    if (const std::string reason = reasonAgainstSides(options, *left, *right); !reason.empty())
        return Failure {ExitCode::notGoodEnough, reason};
    const auto match = measure::matchSides(*left, *right, options.fromHz, options.toHz);
    if (match.numBands == 0)
        return Failure {ExitCode::notGoodEnough,
                        "'" + options.left + "' and '" + options.right
                            + "': no band from --from to --to can be relied on in both; measure "
                              "again, louder, or choose another range"};
    const Output leftCurve = describeCurve(*left, options);
    const Output rightCurve = describeCurve(*right, options);

    Output output;
    output.text = "left: " + options.left + " (" + stateWords(*left) + ")\n" + leftCurve.text
                  + "right: " + options.right + " (" + stateWords(*right) + ")\n" + rightCurve.text
                  + bandLines(match.bands) + "right against left, " + fixedText(match.fromHz, 0)
                  + " Hz to " + fixedText(match.toHz, 0) + " Hz:\n  level "
                  + signedDb(match.levelDifferenceDb) + "\n  shape " + fixedText(match.rmsDb, 1)
                  + " dB RMS, at most " + signedDb(match.largestDb) + " at "
                  + bandWords(match.largestAtHz)
                  + "\n  polarity: " + std::string(relativePolarityName(match.polarity)) + "\n";
    std::optional<double> arrivalMs;
    if (options.tracksApartSeconds) {
        const auto arrival =
            measure::arrivalDifferenceMs(*left, *right, *options.tracksApartSeconds);
        if (!arrival)
            return inputFailure(arrival.error());
        arrivalMs = *arrival;
    } else {
        arrivalMs = measure::arrivalInOneRecordingMs(*left, *right);
    }
    if (arrivalMs)
        output.text += "  arrival: right " + fixedText(*arrivalMs, 2) + " ms after left\n";
    if (match.polarity == measure::RelativePolarity::reversed)
        output.text += "note: one side moves the other way; check the wires of that speaker\n";
    nlohmann::json leftJson = leftCurve.json;
    nlohmann::json rightJson = rightCurve.json;
    leftJson["state"] = options.left;
    rightJson["state"] = options.right;
    output.json = {{"left", std::move(leftJson)},
                   {"right", std::move(rightJson)},
                   {"match",
                    {{"fromHz", match.fromHz},
                     {"toHz", match.toHz},
                     {"numBands", match.numBands},
                     {"levelDifferenceDb", match.levelDifferenceDb},
                     {"rmsDb", match.rmsDb},
                     {"largestDb", match.largestDb},
                     {"largestAtHz", match.largestAtHz},
                     {"polarity", relativePolarityName(match.polarity)},
                     {"bands", bandsJson(match.bands)}}}};
    if (arrivalMs)
        output.json["match"]["arrivalDifferenceMs"] = *arrivalMs;
    if (!options.table.empty()) {
        std::vector<std::vector<double>> columns(5);
        for (const measure::BandDifference& band : match.bands) {
            columns[0].push_back(band.frequencyHz);
            columns[1].push_back(band.referenceDb);
            columns[2].push_back(band.otherDb);
            columns[3].push_back(band.differenceDb);
            columns[4].push_back(band.uncertaintyDb);
        }
        const auto text = files::csvText(
            {"frequency_hz", "left_db", "right_db", "difference_db", "uncertainty_db"}, columns);
        if (const auto written = files::writeTextFile(options.table, text); !written)
            return inputFailure(written.error());
    }
    return output;
}

Outcome compareStates(const CompareOptions& options)
{
    std::vector<std::string> others = options.states;
    std::string referenceFile = options.reference;
    if (referenceFile.empty()) {
        if (others.size() < 2)
            return usageFailure("compare needs two states, one state and --reference STATE, or "
                                "--left STATE and --right STATE");
        referenceFile = others.front();
        others.erase(others.begin());
    }
    if (others.empty())
        return usageFailure("compare needs a state to set against the reference");
    const auto reference = measure::loadResponse(referenceFile);
    if (!reference)
        return inputFailure(reference.error());

    const Output referenceCurve = describeCurve(*reference, options);
    Output output;
    output.json = referenceCurve.json;
    output.json["reference"] = referenceFile;
    output.json["comparisons"] = nlohmann::json::array();
    output.text =
        "reference: " + referenceFile + " (" + stateWords(*reference) + ")\n" + referenceCurve.text;
    std::vector<std::string> header {"frequency_hz"};
    std::vector<std::vector<double>> columns(1);
    for (const measure::BandConfidence& band : reference->bands)
        columns.front().push_back(band.frequencyHz);
    for (std::size_t index = 0; index < others.size(); ++index) {
        const auto other = measure::loadResponse(others[index]);
        if (!other)
            return inputFailure(other.error());
        const auto comparison = measure::compareResponses(*reference, *other);
        const Output curve = describeCurve(*other, options);
        const bool ofEngine = tellsOfEngine(reference->state, other->state);
        const auto notes = otherDifferences(reference->state, other->state);
        output.text += others[index] + " (" + stateWords(*other) + ")\n" + curve.text
                       + bandLines(comparison.bands) + verdictText(comparison, ofEngine);
        for (const std::string& note : notes)
            output.text += "note: " + note + "\n";

        nlohmann::json entry = curve.json;
        entry["state"] = others[index];
        entry["engineDiffers"] = reference->state.engine != other->state.engine;
        entry["changesWithEngine"] = ofEngine && comparison.significant;
        entry["significant"] = comparison.significant;
        entry["largestDifferenceDb"] = comparison.largestDifferenceDb;
        entry["largestAtHz"] = comparison.largestAtHz;
        entry["leastCountingDb"] = comparison.leastCountingDb;
        entry["levelDifferenceDb"] = comparison.levelDifferenceDb;
        entry["largestChange"] = bumpJson(measure::largestChange(comparison));
        entry["evidence"] = evidenceJson(comparison.evidence);
        entry["bands"] = bandsJson(comparison.bands);
        entry["notes"] = notes;
        output.json["comparisons"].push_back(std::move(entry));

        if (comparison.bands.size() == columns.front().size()) {
            std::vector<double> differences;
            std::vector<double> uncertainties;
            for (const measure::BandDifference& band : comparison.bands) {
                differences.push_back(band.differenceDb);
                uncertainties.push_back(band.uncertaintyDb);
            }
            header.push_back("difference_db_" + std::to_string(index + 1));
            columns.push_back(std::move(differences));
            header.push_back("uncertainty_db_" + std::to_string(index + 1));
            columns.push_back(std::move(uncertainties));
        }
    }
    if (!options.table.empty())
        if (const auto written =
                files::writeTextFile(options.table, files::csvText(header, columns));
            !written)
            return inputFailure(written.error());
    return output;
}

/** Two states that say that they are the two sides of one bike state are matched as such; nothing
    otherwise. What cannot be read is refused by whoever needs it. */
std::optional<CompareOptions> sidesAmong(const CompareOptions& options)
{
    if (options.states.size() != 2 || !options.reference.empty())
        return {};
    const auto first = measure::loadResponse(options.states[0]);
    const auto second = measure::loadResponse(options.states[1]);
    if (!first || !second || !measure::areSidesOfOne(first->state, second->state))
        return {};
    const bool isLeftFirst = measure::isLeftSide(first->state.speakers);
    CompareOptions sides = options;
    sides.left = options.states[isLeftFirst ? 0 : 1];
    sides.right = options.states[isLeftFirst ? 1 : 0];
    return sides;
}

Outcome runCompare(const CompareOptions& options)
{
    if (!(options.fromHz < options.toHz))
        return usageFailure("compare: --from has to lie below --to");
    std::vector<std::string> states = options.states;
    states.insert(states.end(), {options.reference, options.left, options.right});
    if (auto failure = checkOutputs(filesOfStates(states), {options.table}))
        return *std::move(failure);
    if (options.left.empty()) {
        if (const auto sides = sidesAmong(options))
            return compareSides(*sides);
        if (options.tracksApartSeconds)
            return usageFailure("--tracks-apart is for --left and --right, or for two states that "
                                "say that they are the two sides of one bike state");
        return compareStates(options);
    }
    if (!options.states.empty() || !options.reference.empty())
        return usageFailure("compare takes either states or --left and --right, not both");
    return compareSides(options);
}

void addCompare(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<CompareOptions>();
    CLI::App* verb =
        addVerb(app, "compare",
                "Difference of bike states by band, bumps, evenness, left against right, and a "
                "verdict on parked against running");
    addOption(*verb, "states", options->states,
              "STATE.json files; without --reference the first is it, but two that say "
              "they are of left and right speakers are set against each other as sides");
    addOption(*verb, "--reference", options->reference, "State that the others are compared to");
    auto* left = addOption(*verb, "--left", options->left, "State of the left side alone");
    addOption(*verb, "--right", options->right, "State of the right side alone")->needs(left);
    left->needs(verb->get_option("--right"));
    addOption(*verb, "--tracks-apart", options->tracksApartSeconds,
              "Seconds between the starts of both sides' sweeps, if both come from one "
              "recording of one file; tells which side arrives later")
        ->check(withinRange(-3600.0, 3600.0));
    addOption(*verb, "--from", options->fromHz, "Lower end of evenness, bumps and match in Hz")
        ->check(withinRange(10.0, 24000.0))
        ->capture_default_str();
    addOption(*verb, "--to", options->toHz, "Upper end in Hz")
        ->check(withinRange(10.0, 24000.0))
        ->capture_default_str();
    addOption(*verb, "--table", options->table, "Table of the differences to write (CSV)");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runCompare(*options); }; });
}

} // namespace

void addMeasureVerbs(CLI::App& app, Shared& shared)
{
    addMeasure(app, shared);
    addAnalyse(app, shared);
    addCompare(app, shared);
}

} // namespace saddletone::commandline
