#include "Plugin/TakeMeasuring.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Files/AudioFile.h"
#include "Core/Job/Job.h"
#include "Core/Report/Wording.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <cmath>
#include <system_error>

namespace saddletone::plugin {

namespace {

constexpr int pointsPerOctave = 24;
constexpr int smoothingPerOctave = 12;

constexpr const char* calibrationEnding = ".calibration.json";

} // namespace

dsp::Result<measure::Response> measureTakes(const TakesToMeasure& takes)
{
    measure::MeasurementRequest request;
    request.track = takes.track;
    request.state = takes.state;
    request.name = takes.name;
    request.calibration = takes.calibration;
    for (const std::filesystem::path& file : takes.audioFiles) {
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
    return measure::measureResponse(request);
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

std::string trustWords(const measure::Response& response)
{
    const measure::BandConfidence* lowest = nullptr;
    const measure::BandConfidence* highest = nullptr;
    std::size_t numTrusted = 0;
    for (const measure::BandConfidence& band : response.bands)
        if (band.trusted) {
            lowest = lowest == nullptr ? &band : lowest;
            highest = &band;
            ++numTrusted;
        }
    const std::string snr = "SNR at least " + report::numberText(response.snrDb, 0) + " dB";
    if (lowest == nullptr)
        return snr + ", no band can be trusted";
    std::string words = snr + ", trusted from " + report::frequencyWords(lowest->frequencyHz)
                        + " to " + report::frequencyWords(highest->frequencyHz);
    const auto span = static_cast<std::size_t>(highest - lowest) + 1;
    if (numTrusted < span)
        words += " except in " + std::to_string(span - numTrusted) + " bands between";
    return words;
}

gui::MeasuredView makeMeasuredView(const measure::Response& response)
{
    gui::MeasuredView view;
    view.name = toText(response.name);
    view.engine = response.state.engine;
    view.numTakes = response.numTakes;
    view.snrDb = response.snrDb;
    view.bands = response.bands;
    for (int point = 0;; ++point) {
        const double frequencyHz =
            response.fromHz * std::exp2(static_cast<double>(point) / pointsPerOctave);
        if (frequencyHz > std::min(response.toHz, 0.45 * response.sampleRate))
            break;
        view.frequenciesHz.push_back(frequencyHz);
    }
    view.levelsDb = response.magnitudeDb(view.frequenciesHz, smoothingPerOctave);
    std::string words = trustWords(response);
    for (const std::string& remark : response.remarks)
        words += ". " + remark;
    view.words = toText(words);
    return view;
}

dsp::Result<job::AddedState> addStateToJob(const std::filesystem::path& folder,
                                           const measure::Response& response)
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

    return job::addState(job, response, response.name, response.name);
}

} // namespace saddletone::plugin
