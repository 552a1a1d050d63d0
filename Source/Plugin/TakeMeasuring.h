#pragma once

#include "Core/Job/Job.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Core/Measure/Measurement.h"
#include "Core/Measure/StateOrigin.h"
#include "Plugin/MicrophoneChoice.h"

#include <filesystem>
#include <functional>
#include <optional>
#include <span>
#include <string>

namespace saddletone::plugin {

/** Takes of one bike state, on the disk. */
struct TakesToMeasure {
    std::vector<std::filesystem::path> audioFiles; ///< At least one.
    std::optional<std::filesystem::path> noise;    ///< A take of the place without the track.
    signals::SignalDescription track;
    std::optional<measure::Calibration> calibration;
    std::optional<MicrophoneCorrection> microphone;
    measure::BikeState state;
    std::string name;
};

// All of these take a while, and throw nothing of their own.

/** Told the share that is done, 0 to 1; returns whether to go on. */
using WorkProgress = std::function<bool(double doneProportion)>;

/** Reads the takes and has them measured and averaged. Ended by progress, it fails. */
[[nodiscard]] dsp::Result<measure::Response>
measureTakes(const TakesToMeasure& takes, dsp::FftStore& transforms, const WorkProgress& progress);

/** When and with what a take was recorded, as far as its record says so. */
[[nodiscard]] measure::StateOrigin originOf(const std::filesystem::path& audioFile);

/** Reads the level of a calibrator's tone from a take and keeps it beside the take, as
    NAME.calibration.json. chain: words for the input, which calibrations are told apart by. */
[[nodiscard]] dsp::Result<measure::CalibrationRecord>
readCalibrationTake(const std::filesystem::path& audioFile, double calibratorSplDb,
                    const std::string& chain);

/** The latest calibration of a chain in a folder, other than that of the take except. */
[[nodiscard]] std::optional<measure::CalibrationRecord>
latestCalibration(const std::filesystem::path& folder, const std::string& chain,
                  const std::filesystem::path& except);

/** Adds a measured state, and a candidate if there is room for one, to the job in a folder; where
    there is no job yet, one is made that is named after the folder. */
[[nodiscard]] dsp::Result<job::AddedState> addStateToJob(const std::filesystem::path& folder,
                                                         const measure::Response& response,
                                                         const measure::StateOrigin& origin);

} // namespace saddletone::plugin
