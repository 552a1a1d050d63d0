#include "CommandLine/CalibrationOption.h"

#include "Core/Files/AudioFile.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Core/Measure/Measurement.h"

#include <filesystem>
#include <utility>

namespace saddletone::commandline {

dsp::Result<ReadCalibration> calibrationFrom(const std::string& file, double toneSplDb)
{
    if (std::filesystem::path(file).extension() == ".json") {
        const auto record = measure::loadCalibration(file);
        if (!record)
            return record.unexpected();
        const auto days = measure::daysBetween(record->date, measure::todayUtc());
        if (!days)
            return days.unexpected();
        return ReadCalibration {record->calibration,
                                "calibration of " + record->date + ", " + std::to_string(*days)
                                    + (*days == 1 ? " day" : " days") + " old, microphone '"
                                    + record->microphone + "'",
                                record->microphone};
    }
    auto tone = files::readAudioFile(file);
    if (!tone)
        return tone.unexpected();
    const auto calibration = measure::readCalibration({file, std::move(*tone)}, toneSplDb);
    if (!calibration)
        return calibration.unexpected();
    return ReadCalibration {*calibration, "", ""};
}

} // namespace saddletone::commandline
