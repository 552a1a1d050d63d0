#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Core/Measure/Measurement.h"

#include <filesystem>
#include <memory>
#include <optional>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

struct CalibrateOptions {
    std::string recording;
    double splDb = 94.0;
    std::string microphone;
    std::string chainNote;
    std::string date;
    std::string previous;
    std::string out;
};

Outcome runCalibrate(const CalibrateOptions& options)
{
    measure::CalibrationRecord record;
    record.date = options.date.empty() ? measure::todayUtc() : options.date;
    if (const auto day = measure::daysBetween(record.date, record.date); !day)
        return usageFailure(day.error().message);
    if (options.microphone.empty())
        return usageFailure("--microphone needs a name; drift is told by it");
    if (auto failure = checkOutputs({options.recording, options.previous}, {options.out}))
        return *std::move(failure);
    record.microphone = options.microphone;
    record.chainNote = options.chainNote;
    record.audioFile = std::filesystem::path(options.recording).filename().string();
    auto audio = files::readAudioFile(options.recording);
    if (!audio)
        return inputFailure(audio.error());
    const auto checksum = files::fileChecksum(options.recording);
    if (!checksum)
        return inputFailure(checksum.error());
    record.checksum = *checksum;
    const auto calibration =
        measure::readCalibration({options.recording, std::move(*audio)}, options.splDb);
    if (!calibration)
        return inputFailure(calibration.error());
    record.calibration = *calibration;

    std::optional<measure::CalibrationDrift> drift;
    if (!options.previous.empty()) {
        const auto previous = measure::loadCalibration(options.previous);
        if (!previous)
            return inputFailure(previous.error());
        const auto found = measure::calibrationDrift(*previous, record);
        if (!found)
            return inputFailure(found.error());
        drift = *found;
    }
    if (const auto saved = measure::saveCalibration(record, options.out); !saved)
        return inputFailure(saved.error());

    Output output;
    output.text = options.out + ": " + fixedText(record.calibration.toneSplDb, 1) + " dB SPL reads "
                  + fixedText(record.calibration.toneDbfs, 2) + " dBFS; full scale stands for "
                  + fixedText(record.calibration.splAtFullScaleDb(), 2) + " dB SPL (microphone '"
                  + record.microphone + "', " + record.date + ")\n";
    output.json = {{"calibration", options.out},
                   {"date", record.date},
                   {"microphone", record.microphone},
                   {"toneSplDb", record.calibration.toneSplDb},
                   {"toneDbfs", record.calibration.toneDbfs},
                   {"splAtFullScaleDb", record.calibration.splAtFullScaleDb()}};
    if (drift) {
        output.text +=
            std::string(drift->isTooLarge ? "caution: " : "note: ") + drift->sentence + "\n";
        output.json["drift"] = {{"driftDb", drift->driftDb},
                                {"days", drift->days},
                                {"isTooLarge", drift->isTooLarge},
                                {"sentence", drift->sentence}};
    }
    return output;
}

} // namespace

void addCalibrateVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<CalibrateOptions>();
    CLI::App* verb = addVerb(app, "calibrate",
                             "Save the calibration of a recording chain from a calibrator's tone");
    addOption(*verb, "--recording", options->recording, "Recording of the calibrator's 1 kHz tone")
        ->required();
    addOption(*verb, "--spl", options->splDb, "Level of the calibrator in dB SPL: 94 or 114")
        ->check(withinRange(60.0, 130.0))
        ->capture_default_str();
    addOption(*verb, "--microphone", options->microphone, "Name of the microphone")->required();
    addOption(*verb, "--chain", options->chainNote,
              "Recorder, input, and where its gain stood, in words");
    addOption(*verb, "--date", options->date, "Day of the recording, 2026-05-01 (default: today)");
    addOption(*verb, "--previous", options->previous,
              "CAL.json of the same chain from before: a drift above 0.5 dB is flagged");
    addOption(*verb, "--out", options->out, "CAL.json to write")->required();
    verb->callback(
        [options, &shared] { shared.action = [options] { return runCalibrate(*options); }; });
}

} // namespace saddletone::commandline
