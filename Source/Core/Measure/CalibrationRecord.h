#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"

#include <chrono>
#include <filesystem>
#include <string>
#include <string_view>

namespace saddletone::measure {

/** A calibration of a recording chain (microphone, recorder, gain) that is kept for later. */
struct CalibrationRecord {
    std::string date;        ///< Day of the recording: 2026-05-01.
    std::string microphone;  ///< Name; chains are told apart by it.
    std::string chainNote;   ///< Recorder, input and where its gain stood.
    Calibration calibration; ///< Level of the calibrator and what it read.
    std::string audioFile;   ///< Recording of the tone.
    std::string checksum;    ///< CRC-32 of it; empty = not known.

    bool operator==(const CalibrationRecord&) const = default;
};

/** Writes CAL.json, whole or not at all. */
[[nodiscard]] dsp::Result<void> saveCalibration(const CalibrationRecord& record,
                                                const std::filesystem::path& file);
[[nodiscard]] dsp::Result<CalibrationRecord> loadCalibration(const std::filesystem::path& file);

/** Whole days from a day to another, both written as 2026-05-01; negative if the second is the
    earlier. */
[[nodiscard]] dsp::Result<long> daysBetween(std::string_view from, std::string_view to);

/** Today by this computer's clock, UTC, as 2026-05-01. */
[[nodiscard]] std::string todayUtc();

/** A day as ISO 8601 has it: 2026-05-01. */
[[nodiscard]] std::string isoDate(std::chrono::sys_days day);

/** How far a chain's sensitivity moved between two calibrations. */
struct CalibrationDrift {
    double driftDb = 0.0;    ///< Positive: the same sound reads higher than it did.
    long days = 0;           ///< From the earlier to the later.
    bool isTooLarge = false; ///< Above largestDriftDb.
    std::string sentence;    ///< The same in words, with what to do.
};

/** Drift that is still taken for the calibrator's and its seating's own spread: a class
    1 calibrator holds its level within 0.4 dB (IEC 60942:2003), and seating adds to it. */
inline constexpr double largestDriftDb = 0.5;

/** Compares two calibrations of one chain; the calibrator's level may differ. Refused: other
    microphones, or an earlier date on the later one. */
[[nodiscard]] dsp::Result<CalibrationDrift> calibrationDrift(const CalibrationRecord& earlier,
                                                             const CalibrationRecord& later);

} // namespace saddletone::measure
