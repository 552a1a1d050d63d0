#include "Core/Measure/CalibrationRecord.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"

#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <optional>

#include <nlohmann/json.hpp>

namespace saddletone::measure {

namespace {

constexpr int calibrationSchemaVersion = 1;
constexpr std::string_view calibrationKind = "saddletone-calibration";

std::optional<int> digits(std::string_view text)
{
    int value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size() || text.front() == '-')
        return std::nullopt;
    return value;
}

std::optional<std::chrono::sys_days> dayOf(std::string_view text)
{
    if (text.size() != 10 || text[4] != '-' || text[7] != '-')
        return std::nullopt;
    const auto year = digits(text.substr(0, 4));
    const auto month = digits(text.substr(5, 2));
    const auto day = digits(text.substr(8, 2));
    if (!year || !month || !day)
        return std::nullopt;
    const std::chrono::year_month_day date(std::chrono::year {*year},
                                           std::chrono::month {static_cast<unsigned>(*month)},
                                           std::chrono::day {static_cast<unsigned>(*day)});
    if (!date.ok())
        return std::nullopt;
    return std::chrono::sys_days {date};
}

std::string twoDigits(unsigned value)
{
    return (value < 10 ? "0" : "") + std::to_string(value);
}

} // namespace

dsp::Result<void> saveCalibration(const CalibrationRecord& record,
                                  const std::filesystem::path& file)
{
    const nlohmann::json json {{"kind", calibrationKind},
                               {"schemaVersion", calibrationSchemaVersion},
                               {"date", record.date},
                               {"microphone", record.microphone},
                               {"chainNote", record.chainNote},
                               {"toneSplDb", record.calibration.toneSplDb},
                               {"toneDbfs", record.calibration.toneDbfs},
                               {"audioFile", record.audioFile},
                               {"checksum", record.checksum}};
    return files::writeTextFile(file, files::jsonText(json));
}

dsp::Result<CalibrationRecord> loadCalibration(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(calibrationKind, calibrationSchemaVersion);
    CalibrationRecord record;
    record.date = reader.text("date");
    if (!reader.failure() && !dayOf(record.date))
        reader.reject("date", "must be a day such as 2026-05-01");
    record.microphone = reader.text("microphone");
    record.chainNote = reader.text("chainNote", "");
    record.calibration.toneSplDb = reader.number("toneSplDb", 60.0, 130.0);
    record.calibration.toneDbfs = reader.number("toneDbfs", -120.0, 0.0);
    record.audioFile = reader.text("audioFile", "");
    record.checksum = reader.text("checksum", "");
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return record;
}

dsp::Result<long> daysBetween(std::string_view from, std::string_view to)
{
    const auto first = dayOf(from);
    const auto second = dayOf(to);
    if (!first || !second)
        return dsp::fail(dsp::ErrorCode::malformed, "'" + std::string(first ? to : from)
                                                        + "' is not a day; write it as 2026-05-01");
    return static_cast<long>((*second - *first).count());
}

std::string isoDate(std::chrono::sys_days day)
{
    const std::chrono::year_month_day date(day);
    return std::to_string(static_cast<int>(date.year())) + "-"
           + twoDigits(static_cast<unsigned>(date.month())) + "-"
           + twoDigits(static_cast<unsigned>(date.day()));
}

std::string todayUtc()
{
    return isoDate(std::chrono::floor<std::chrono::days>(std::chrono::system_clock::now()));
}

dsp::Result<CalibrationDrift> calibrationDrift(const CalibrationRecord& earlier,
                                               const CalibrationRecord& later)
{
    if (earlier.microphone != later.microphone)
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "the two calibrations are of different microphones ('" + earlier.microphone
                             + "' and '" + later.microphone
                             + "'); drift is told from two of the same chain");
    const auto days = daysBetween(earlier.date, later.date);
    if (!days)
        return days.unexpected();
    if (*days < 0)
        return dsp::fail(dsp::ErrorCode::outOfRange, "the previous calibration, of " + earlier.date
                                                         + ", is younger than this one, of "
                                                         + later.date + "; check the dates");
    CalibrationDrift drift;
    drift.driftDb = earlier.calibration.splAtFullScaleDb() - later.calibration.splAtFullScaleDb();
    drift.days = *days;
    // Half a hundredth of a decibel of rounding does not make the difference.
    drift.isTooLarge = std::abs(drift.driftDb) > largestDriftDb + 0.005;
    const std::string since = earlier.date + " (" + std::to_string(*days)
                              + (*days == 1 ? " day before)" : " days before)");
    const std::string size = files::fixedText(std::abs(drift.driftDb), 2) + " dB "
                             + (drift.driftDb < 0.0 ? "lower" : "higher");
    drift.sentence =
        drift.isTooLarge
            ? "The calibrator reads " + size + " than on " + since + ", more than "
                  + files::fixedText(largestDriftDb, 1)
                  + " dB: a gain control was moved, the calibrator's battery is low, or it did "
                    "not sit tight. Check these and calibrate again; do not compare sound "
                    "pressure levels across the two."
            : "The calibrator reads " + size + " than on " + since + ", within "
                  + files::fixedText(largestDriftDb, 1) + " dB.";
    return drift;
}

} // namespace saddletone::measure
