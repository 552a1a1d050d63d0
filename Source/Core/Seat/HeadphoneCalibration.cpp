#include "Core/Seat/HeadphoneCalibration.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/CalibrationRecord.h"

#include <array>

#include <nlohmann/json.hpp>

namespace saddletone::seat {

namespace {

constexpr int headphoneCalibrationSchemaVersion = 1;
constexpr std::string_view headphoneCalibrationKind = "saddletone-headphone-calibration";

constexpr std::array allBases {
    HeadphoneLevelBasis::sensitivityPerVolt, HeadphoneLevelBasis::sensitivityPerMilliwatt,
    HeadphoneLevelBasis::measuredLevel, HeadphoneLevelBasis::statedLevel};

} // namespace

std::string_view headphoneLevelBasisName(HeadphoneLevelBasis basis) noexcept
{
    switch (basis) {
    case HeadphoneLevelBasis::sensitivityPerVolt: return "sensitivity-per-volt";
    case HeadphoneLevelBasis::sensitivityPerMilliwatt: return "sensitivity-per-milliwatt";
    case HeadphoneLevelBasis::statedLevel: return "stated-level";
    case HeadphoneLevelBasis::measuredLevel: break;
    }
    return "measured-level";
}

double sensitivityPerVolt(double dbSplPerMilliwatt, double impedanceOhms) noexcept
{
    // 1 V into Z gives 1000 / Z milliwatts.
    return dbSplPerMilliwatt + dsp::powerToDb(1000.0 / impedanceOhms);
}

double HeadphoneCalibration::splAtFullScaleDb() const noexcept
{
    if (basis == HeadphoneLevelBasis::measuredLevel)
        return measuredSplDb - measuredLevelDbfs;
    if (basis == HeadphoneLevelBasis::statedLevel)
        return statedSplDb;
    const double perVolt = basis == HeadphoneLevelBasis::sensitivityPerVolt
                               ? sensitivityDbSpl
                               : sensitivityPerVolt(sensitivityDbSpl, impedanceOhms);
    const double loadedVolts =
        fullScaleVolts * impedanceOhms / (impedanceOhms + outputImpedanceOhms);
    return perVolt + dsp::amplitudeToDb(loadedVolts);
}

HeadphoneCalibration statedCalibration(double splAtFullScaleDb, const std::string& date)
{
    HeadphoneCalibration calibration;
    calibration.headphone = "the shop's headphones";
    calibration.date = date;
    calibration.source = "stated as a number";
    calibration.basis = HeadphoneLevelBasis::statedLevel;
    calibration.statedSplDb = splAtFullScaleDb;
    return calibration;
}

dsp::Result<void> checkKeepable(const HeadphoneCalibration& calibration, const std::string& file)
{
    const double splDb = calibration.splAtFullScaleDb();
    if (splDb > lowestHeadphoneSplDb && splDb <= highestHeadphoneSplDb)
        return {};
    return dsp::fail(dsp::ErrorCode::outOfRange,
                     "'" + file + "' says that 0 dBFS stands for " + files::fixedText(splDb, 1)
                         + " dB SPL; levels are kept for "
                         + files::fixedText(lowestHeadphoneSplDb, 0) + " to "
                         + files::fixedText(highestHeadphoneSplDb, 0) + ": check its figures");
}

std::optional<double> digitalLevelDbfs(const std::optional<HeadphoneCalibration>& calibration,
                                       double levelDba) noexcept
{
    if (!calibration)
        return std::nullopt;
    return levelDba - calibration->splAtFullScaleDb();
}

std::optional<double> levelAtEarDba(const std::optional<HeadphoneCalibration>& calibration,
                                    double levelDbfs) noexcept
{
    if (!calibration)
        return std::nullopt;
    return levelDbfs + calibration->splAtFullScaleDb();
}

std::string ceilingWords(const std::optional<HeadphoneCalibration>& calibration, double ceilingDba)
{
    const auto levelDbfs = digitalLevelDbfs(calibration, ceilingDba);
    if (!levelDbfs)
        return "Listening level unknown: this headphone has no calibration, so the ceiling is a "
               "digital one.";
    return "Ceiling " + files::fixedText(ceilingDba, 0) + " dB(A) at the ear, "
           + files::fixedText(*levelDbfs, 1) + " dBFS, by the calibration of '"
           + calibration->headphone + "' of " + calibration->date + " (" + calibration->source
           + ").";
}

dsp::Result<void> saveHeadphoneCalibration(const HeadphoneCalibration& calibration,
                                           const std::filesystem::path& file)
{
    nlohmann::json json {{"kind", headphoneCalibrationKind},
                         {"schemaVersion", headphoneCalibrationSchemaVersion},
                         {"headphone", calibration.headphone},
                         {"output", calibration.output},
                         {"date", calibration.date},
                         {"source", calibration.source},
                         {"basis", headphoneLevelBasisName(calibration.basis)}};
    if (calibration.basis == HeadphoneLevelBasis::measuredLevel) {
        json["measuredSplDb"] = calibration.measuredSplDb;
        json["measuredLevelDbfs"] = calibration.measuredLevelDbfs;
    } else if (calibration.basis == HeadphoneLevelBasis::statedLevel) {
        json["statedSplDb"] = calibration.statedSplDb;
    } else {
        json["sensitivityDbSpl"] = calibration.sensitivityDbSpl;
        json["impedanceOhms"] = calibration.impedanceOhms;
        json["fullScaleVolts"] = calibration.fullScaleVolts;
        json["outputImpedanceOhms"] = calibration.outputImpedanceOhms;
    }
    return files::writeTextFile(file, files::jsonText(json));
}

dsp::Result<HeadphoneCalibration> loadHeadphoneCalibration(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(headphoneCalibrationKind, headphoneCalibrationSchemaVersion);
    HeadphoneCalibration calibration;
    calibration.headphone = reader.text("headphone");
    calibration.output = reader.text("output", "");
    calibration.date = reader.text("date");
    if (!reader.failure() && !measure::daysBetween(calibration.date, calibration.date))
        reader.reject("date", "must be a day such as 2026-05-01");
    calibration.source = reader.text("source");
    if (!reader.failure() && calibration.source.empty())
        reader.reject("source", "must say where the figures come from");
    const std::string basis = reader.text("basis");
    bool isKnown = false;
    for (const HeadphoneLevelBasis candidate : allBases)
        if (basis == headphoneLevelBasisName(candidate)) {
            calibration.basis = candidate;
            isKnown = true;
        }
    if (!reader.failure() && !isKnown)
        reader.reject("basis", "must be sensitivity-per-volt, sensitivity-per-milliwatt, "
                               "measured-level or stated-level");
    if (calibration.basis == HeadphoneLevelBasis::measuredLevel) {
        calibration.measuredSplDb = reader.number("measuredSplDb", 30.0, 130.0);
        calibration.measuredLevelDbfs = reader.number("measuredLevelDbfs", -120.0, 0.0);
    } else if (calibration.basis == HeadphoneLevelBasis::statedLevel) {
        calibration.statedSplDb =
            reader.number("statedSplDb", lowestHeadphoneSplDb, highestHeadphoneSplDb);
    } else {
        calibration.sensitivityDbSpl = reader.number("sensitivityDbSpl", 50.0, 150.0);
        calibration.impedanceOhms = reader.number("impedanceOhms", 1.0, 10000.0);
        calibration.fullScaleVolts = reader.number("fullScaleVolts", 0.001, 100.0);
        calibration.outputImpedanceOhms = reader.number("outputImpedanceOhms", 0.0, 10000.0, 0.0);
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return calibration;
}

} // namespace saddletone::seat
