#include "Plugin/TakeMeasuring.h"

#include "Core/Files/AudioFile.h"
#include "Core/Job/Job.h"
#include "Core/Measure/TakeRecord.h"

#include <system_error>

namespace saddletone::plugin {

namespace {

constexpr const char* calibrationEnding = ".calibration.json";
/** Of measuring takes: about what reading them is of the whole. */
constexpr double readingShare = 0.1;

} // namespace

dsp::Result<measure::Response> measureTakes(const TakesToMeasure& takes, dsp::FftStore& transforms,
                                            const WorkProgress& progress)
{
    measure::MeasurementRequest request;
    request.track = takes.track;
    request.state = takes.state;
    request.name = takes.name;
    request.calibration = takes.calibration;
    if (takes.microphone)
        request.microphone = takes.microphone->table;
    for (const std::filesystem::path& file : takes.audioFiles) {
        if (!progress(readingShare * static_cast<double>(request.recordings.size())
                      / static_cast<double>(takes.audioFiles.size())))
            return dsp::fail(dsp::ErrorCode::unreadable, measure::measurementCancelledMessage);
        auto audio = files::readAudioFile(file);
        if (!audio)
            return audio.unexpected();
        request.recordings.push_back({file.filename().string(), *std::move(audio)});
    }
    if (takes.noise) {
        auto audio = files::readAudioFile(*takes.noise);
        if (!audio)
            return audio.unexpected();
        request.noise = measure::Recording {takes.noise->filename().string(), *std::move(audio)};
    }
    request.onProgress = [&progress](double share) {
        return progress(readingShare + (1.0 - readingShare) * share);
    };
    auto response = measure::measureResponse(request, transforms);
    if (response && takes.microphone)
        response->remarks.insert(response->remarks.end(), takes.microphone->remarks.begin(),
                                 takes.microphone->remarks.end());
    return response;
}

measure::StateOrigin originOf(const std::filesystem::path& audioFile)
{
    const auto record = measure::loadTakeRecord(audioFile);
    return record ? measure::originOf(*record) : measure::StateOrigin {};
}

dsp::Result<measure::CalibrationRecord> readCalibrationTake(const std::filesystem::path& audioFile,
                                                            double calibratorSplDb,
                                                            const std::string& chain)
{
    auto audio = files::readAudioFile(audioFile);
    if (!audio)
        return audio.unexpected();
    const std::string name = audioFile.filename().string();
    const auto calibration = measure::readCalibration({name, *std::move(audio)}, calibratorSplDb);
    if (!calibration)
        return calibration.unexpected();
    measure::CalibrationRecord record;
    record.date = measure::todayUtc();
    record.microphone = chain;
    record.calibration = *calibration;
    record.audioFile = name;
    const auto file = audioFile.parent_path() / (audioFile.stem().string() + calibrationEnding);
    if (const auto saved = measure::saveCalibration(record, file); !saved)
        return saved.unexpected();
    return record;
}

std::optional<measure::CalibrationRecord> latestCalibration(const std::filesystem::path& folder,
                                                            const std::string& chain,
                                                            const std::filesystem::path& except)
{
    std::optional<measure::CalibrationRecord> latest;
    std::filesystem::path latestFile;
    std::error_code reason;
    for (const auto& entry : std::filesystem::directory_iterator(folder, reason)) {
        const std::string name = entry.path().filename().string();
        if (!name.ends_with(calibrationEnding)
            || name == except.stem().string() + calibrationEnding)
            continue;
        auto record = measure::loadCalibration(entry.path());
        if (!record || record->microphone != chain)
            continue;
        // Takes of a day are numbered in the order in which they were made.
        if (!latest || record->date > latest->date
            || (record->date == latest->date && entry.path() > latestFile)) {
            latest = *std::move(record);
            latestFile = entry.path();
        }
    }
    return latest;
}

dsp::Result<job::AddedState> addStateToJob(const std::filesystem::path& folder,
                                           const measure::Response& response,
                                           const measure::StateOrigin& origin)
{
    std::error_code reason;
    job::Job job;
    if (std::filesystem::exists(folder / "job.json", reason)) {
        auto loaded = job::loadJob(folder);
        if (!loaded)
            return loaded.unexpected();
        job = *std::move(loaded);
    } else {
        job.folder = folder;
        job.title = folder.filename().string();
    }

    return job::addState(job, response, response.name, response.name, {}, origin);
}

} // namespace saddletone::plugin
