#include "Core/Job/Job.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Job/BlindRuns.h"
#include "Core/Job/EventRecords.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Seat/ListenerSeat.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <system_error>

namespace saddletone::job {

namespace {

constexpr std::string_view jobKind = "saddletone-job";
constexpr std::string_view jobFileName = "job.json";
constexpr std::string_view previousFileName = "job.previous.json";

bool isIdentifier(const std::string& text)
{
    return !text.empty() && text.size() <= 64 && std::ranges::all_of(text, [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9')
               || c == '-' || c == '_';
    });
}

void checkPath(files::JsonReader& reader, std::string_view key, const std::string& relative)
{
    if (const auto inside = resolveInside({}, relative); !inside)
        reader.reject(key, inside.error().message);
}

/** Entry of an array in the document with the same id or name, so that its unknown keys stay.
    numBefore: how many of that name to pass over, as names may recur. */
nlohmann::json matchingEntry(const nlohmann::json& document, std::string_view list,
                             std::string_view key, const std::string& value,
                             std::size_t numBefore = 0)
{
    if (const auto array = document.find(list); array != document.end() && array->is_array())
        for (const auto& entry : *array)
            if (entry.is_object() && entry.value(key, nlohmann::json()) == nlohmann::json(value)
                && numBefore-- == 0)
                return entry;
    return nlohmann::json::object();
}

/** A tuning that can be heard on responses of a whole left and a whole right side. */
dsp::Result<tuning::Tuning> loadTuningToHear(const std::filesystem::path& file)
{
    auto tuning = tuning::loadTuning(file);
    if (!tuning)
        return tuning;
    for (const auto side : {tuning::OutputGroup::left, tuning::OutputGroup::right})
        if (const auto applies = tuning::checkApplies(*tuning, side); !applies)
            return dsp::fail(applies.error().code,
                             "'" + file.string() + "': " + applies.error().message);
    return tuning;
}

/** A file of the seat's block: its key, and where its name is kept. */
struct SeatFile {
    std::string_view key;
    std::string JobSeat::*file;
};

constexpr std::array seatFiles {
    SeatFile {"headphoneResponseFile", &JobSeat::headphoneResponseFile},
    SeatFile {"headphoneTargetFile", &JobSeat::headphoneTargetFile},
    SeatFile {"headSetFile", &JobSeat::headSetFile},
    SeatFile {"headphoneCalibrationFile", &JobSeat::headphoneCalibrationFile}};

/** Sets the seat's block; jobs that say nothing of a seat stay without one. */
void writeSeat(const JobSeat& seat, nlohmann::json& document)
{
    auto block = document.value("seat", nlohmann::json::object());
    if (!block.is_object())
        block = nlohmann::json::object();
    for (const auto& [key, file] : seatFiles)
        if ((seat.*file).empty())
            block.erase(std::string(key));
        else
            block[std::string(key)] = seat.*file;
    if (seat.isBinaural)
        block["isBinaural"] = true;
    else
        block.erase("isBinaural");
    if (block.empty())
        document.erase("seat");
    else
        document["seat"] = std::move(block);
}

JobSeat readSeat(files::JsonReader& reader)
{
    JobSeat seat;
    for (const auto& [key, file] : seatFiles) {
        seat.*file = reader.text(key, "");
        if (!reader.failure() && !(seat.*file).empty())
            checkPath(reader, key, seat.*file);
    }
    seat.isBinaural = reader.boolean("isBinaural", false);
    if (!reader.failure() && seat.headphoneResponseFile.empty()
        && !seat.headphoneTargetFile.empty())
        reader.reject("headphoneTargetFile",
                      "needs headphoneResponseFile, the headphone to bring to this target");
    return seat;
}

/** The seat's settings with whole paths. */
dsp::Result<seat::SeatSettings> seatSettings(const Job& job)
{
    seat::SeatSettings settings;
    settings.isBinaural = job.seat.isBinaural;
    for (const auto& [name, path] :
         {std::pair {&job.seat.headphoneResponseFile, &settings.headphoneResponseFile},
          std::pair {&job.seat.headphoneTargetFile, &settings.headphoneTargetFile},
          std::pair {&job.seat.headSetFile, &settings.headSetFile}}) {
        if (name->empty())
            continue;
        const auto file = resolveInside(job.folder, *name);
        if (!file)
            return file.unexpected();
        *path = *file;
    }
    return settings;
}

/** See audition::SceneRequest. */
dsp::Result<std::shared_ptr<const seat::ListenerSeat>> loadSeat(const Job& job)
{
    const auto settings = seatSettings(job);
    if (!settings)
        return settings.unexpected();
    return seat::loadListenerSeat(*settings);
}

nlohmann::json toDocument(const Job& job)
{
    nlohmann::json document = job.document.is_object() ? job.document : nlohmann::json::object();
    document["kind"] = jobKind;
    document["schemaVersion"] = jobSchemaVersion;
    document["title"] = job.title;
    document["shop"] = job.shop;
    document["bike"] = job.bike;
    document["invented"] = job.invented;

    nlohmann::json states = nlohmann::json::array();
    for (const JobState& state : job.states) {
        auto entry = matchingEntry(job.document, "states", "id", state.id);
        entry["id"] = state.id;
        entry["file"] = state.file;
        states.push_back(std::move(entry));
    }
    document["states"] = std::move(states);

    nlohmann::json candidates = nlohmann::json::array();
    std::map<std::string, std::size_t> numOfName;
    for (const JobCandidate& candidate : job.candidates) {
        auto entry = matchingEntry(job.document, "candidates", "name", candidate.name,
                                   numOfName[candidate.name]++);
        entry["name"] = candidate.name;
        entry["stateId"] = candidate.stateId;
        if (candidate.tuningFile.empty())
            entry.erase("tuningFile");
        else
            entry["tuningFile"] = candidate.tuningFile;
        if (candidate.speedVolumeFile.empty())
            entry.erase("speedVolumeFile");
        else
            entry["speedVolumeFile"] = candidate.speedVolumeFile;
        if (candidate.overdriveFile.empty())
            entry.erase("overdriveFile");
        else
            entry["overdriveFile"] = candidate.overdriveFile;
        candidates.push_back(std::move(entry));
    }
    document["candidates"] = std::move(candidates);
    document["programmes"] = job.programmes;

    auto ride = document.value("ride", nlohmann::json::object());
    if (!ride.is_object())
        ride = nlohmann::json::object();
    ride["speedKmh"] = job.ride.speedKmh;
    ride["helmet"] = ride::helmetName(job.ride.helmet);
    ride["screen"] = ride::screenName(job.ride.screen);
    ride["earPlugs"] = ride::earPlugsName(job.ride.earPlugs);
    ride["engineNoise"] = audition::engineNoiseName(job.ride.engineNoise);
    ride["bike"] = job.ride.bike;
    ride["engine"] = job.ride.engine;
    if (job.ride.firingAnglesDegrees.empty())
        ride.erase("firingAnglesDegrees");
    else
        ride["firingAnglesDegrees"] = job.ride.firingAnglesDegrees;
    if (job.ride.measuredRpm > 0.0)
        ride["measuredRpm"] = job.ride.measuredRpm;
    else
        ride.erase("measuredRpm");
    if (job.ride.recordedNoiseFile.empty())
        ride.erase("recordedNoiseFile");
    else
        ride["recordedNoiseFile"] = job.ride.recordedNoiseFile;
    ride["assumedProgrammeSplDba"] = job.ride.assumedProgrammeSplDba;
    document["ride"] = std::move(ride);
    writeSeat(job.seat, document);
    return document;
}

/** Reads a word of a list; an unknown one is rejected with the choices. */
template <typename Choice, typename Parse>
void readChoice(files::JsonReader& reader, std::string_view key, std::string_view usual,
                Parse&& parse, Choice& choice)
{
    const auto parsed = parse(reader.text(key, std::string(usual)));
    if (parsed)
        choice = *parsed;
    else
        reader.reject(key, "is not known: " + parsed.error().message);
}

JobRide readRide(files::JsonReader& reader)
{
    JobRide read;
    read.speedKmh = reader.number("speedKmh", 0.0, 250.0, 0.0);
    readChoice(reader, "helmet", "full", ride::parseHelmet, read.helmet);
    readChoice(reader, "screen", "none", ride::parseScreen, read.screen);
    readChoice(reader, "earPlugs", "none", ride::parseEarPlugs, read.earPlugs);
    readChoice(reader, "engineNoise", "riding", audition::parseEngineNoise, read.engineNoise);
    read.assumedProgrammeSplDba = reader.number("assumedProgrammeSplDba", 50.0, 120.0, 90.0);
    read.bike = reader.text("bike", read.bike);
    read.engine = reader.text("engine", read.engine);
    if (reader.has("firingAnglesDegrees"))
        read.firingAnglesDegrees = reader.numbers("firingAnglesDegrees", 0.0, 720.0);
    if (reader.has("measuredRpm"))
        read.measuredRpm = reader.number("measuredRpm", 200.0, 20000.0);
    read.recordedNoiseFile = reader.text("recordedNoiseFile", "");
    if (!reader.failure() && !read.recordedNoiseFile.empty())
        checkPath(reader, "recordedNoiseFile", read.recordedNoiseFile);
    if (!reader.failure())
        if (const auto known = rideParameters(read); !known)
            reader.reject("engine", "and bike: " + known.error().message);
    return read;
}

} // namespace

dsp::Result<ride::RideParameters> rideParameters(const JobRide& ride)
{
    ride::RideParameters parameters;
    parameters.helmet = ride.helmet;
    parameters.measuredRpm = ride.measuredRpm;
    const auto drivetrain = ride::parseDrivetrain(ride.bike);
    if (!drivetrain)
        return drivetrain.unexpected();
    parameters.drivetrain = *drivetrain;
    const auto preset = ride::parseEnginePreset(ride.engine);
    if (!preset)
        return preset.unexpected();
    parameters.engine.firing = ride::firingPatternOf(*preset);
    if (!ride.firingAnglesDegrees.empty()) {
        const auto firing = ride::makeFiringPattern(ride.firingAnglesDegrees);
        if (!firing)
            return firing.unexpected();
        parameters.engine.firing = *firing;
    }
    return parameters;
}

audition::RideChoice rideChoice(const JobRide& ride) noexcept
{
    return {ride.speedKmh, ride.screen, ride.earPlugs, ride.engineNoise};
}

dsp::Result<std::filesystem::path> resolveInside(const std::filesystem::path& folder,
                                                 const std::string& relative)
{
    const std::filesystem::path path(relative);
    const bool leaves = std::ranges::any_of(path, [](const auto& part) { return part == ".."; });
    if (relative.empty() || path.is_absolute() || path.has_root_name() || leaves
        || relative.find('\0') != std::string::npos || relative.find('\\') != std::string::npos)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "'" + relative
                             + "' must be a path inside the job folder, with '/' between folders "
                               "and without '..'");
    return folder / path;
}

dsp::Result<Job> loadJob(const std::filesystem::path& folder)
{
    std::error_code reason;
    if (!std::filesystem::is_directory(folder, reason))
        return dsp::fail(dsp::ErrorCode::notFound,
                         "'" + folder.string() + "' is not a job: there is no such folder");
    const auto file = folder / jobFileName;
    if (!std::filesystem::exists(file, reason))
        return dsp::fail(
            dsp::ErrorCode::notFound,
            "'" + folder.string()
                + "' is not a job: it has no job.json; choose the folder that holds it");
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();

    files::JsonReader reader(*json, file.string());
    reader.expectKind(jobKind, jobSchemaVersion);
    Job job;
    job.folder = folder;
    job.document = *json;
    job.title = reader.text("title", "");
    job.shop = reader.text("shop", "");
    job.bike = reader.text("bike", "");
    job.invented = reader.boolean("invented", false);

    std::set<std::string> ids;
    for (auto& entry : reader.objects("states")) {
        JobState state;
        state.id = entry.text("id");
        if (!entry.failure() && !isIdentifier(state.id))
            entry.reject("id",
                         "is '" + state.id + "', but may hold only letters, digits, '-' and '_'");
        if (!entry.failure() && !ids.insert(state.id).second)
            entry.reject("id", "is '" + state.id + "', which another state has already");
        state.file = entry.text("file");
        if (!entry.failure())
            checkPath(entry, "file", state.file);
        reader.absorb(entry);
        job.states.push_back(std::move(state));
    }
    for (auto& entry : reader.objects("candidates")) {
        JobCandidate candidate;
        candidate.name = entry.text("name");
        candidate.stateId = entry.text("stateId");
        if (!entry.failure() && !ids.contains(candidate.stateId))
            entry.reject("stateId", "is '" + candidate.stateId + "', but no state has this id");
        candidate.tuningFile = entry.text("tuningFile", "");
        if (!entry.failure() && !candidate.tuningFile.empty())
            checkPath(entry, "tuningFile", candidate.tuningFile);
        candidate.speedVolumeFile = entry.text("speedVolumeFile", "");
        if (!entry.failure() && !candidate.speedVolumeFile.empty())
            checkPath(entry, "speedVolumeFile", candidate.speedVolumeFile);
        candidate.overdriveFile = entry.text("overdriveFile", "");
        if (!entry.failure() && !candidate.overdriveFile.empty())
            checkPath(entry, "overdriveFile", candidate.overdriveFile);
        reader.absorb(entry);
        job.candidates.push_back(std::move(candidate));
    }
    if (job.candidates.size() > audition::maxCandidates)
        reader.reject("candidates",
                      "has " + std::to_string(job.candidates.size()) + " entries; at most "
                          + std::to_string(audition::maxCandidates) + " can be heard side by side");
    job.programmes = reader.texts("programmes");
    for (const std::string& programme : job.programmes)
        checkPath(reader, "programmes", programme);

    auto ride = reader.object("ride");
    job.ride = readRide(ride);
    reader.absorb(ride);
    auto seat = reader.object("seat");
    job.seat = readSeat(seat);
    reader.absorb(seat);

    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return job;
}

dsp::Result<void> saveJob(const Job& job)
{
    const auto file = job.folder / jobFileName;
    std::error_code reason;
    if (std::filesystem::exists(file, reason)) {
        const auto previous = files::readTextFile(file);
        if (!previous)
            return previous.unexpected();
        if (const auto kept = files::writeTextFile(job.folder / previousFileName, *previous); !kept)
            return kept;
    }
    return files::writeTextFile(file, files::jsonText(toDocument(job)));
}

dsp::Result<audition::SceneRequest> loadSceneRequest(const Job& job)
{
    if (job.candidates.empty())
        return dsp::fail(dsp::ErrorCode::notFound,
                         "the job '" + job.folder.string()
                             + "' has no candidates; measure a state and add it");
    audition::SceneRequest request;
    const auto parameters = rideParameters(job.ride);
    if (!parameters)
        return parameters.unexpected();
    std::shared_ptr<const ride::RecordedNoise> recorded;
    if (!job.ride.recordedNoiseFile.empty()) {
        const auto file = resolveInside(job.folder, job.ride.recordedNoiseFile);
        if (!file)
            return file.unexpected();
        auto loaded = ride::loadRecordedNoise(*file);
        if (!loaded)
            return loaded.unexpected();
        recorded = std::make_shared<const ride::RecordedNoise>(*std::move(loaded));
    }
    request.ride = audition::makeSceneRide(*parameters, std::move(recorded));
    request.equaliserSpeedKmh = job.ride.speedKmh;
    request.assumedProgrammeSplDba = job.ride.assumedProgrammeSplDba;
    auto seat = loadSeat(job);
    if (!seat)
        return seat.unexpected();
    request.seat = *std::move(seat);
    for (const JobCandidate& candidate : job.candidates) {
        const auto state = std::ranges::find(job.states, candidate.stateId, &JobState::id);
        if (state == job.states.end())
            return dsp::fail(dsp::ErrorCode::notFound,
                             "candidate '" + candidate.name + "' names the state '"
                                 + candidate.stateId + "', which the job does not have");
        const auto stateFile = resolveInside(job.folder, state->file);
        if (!stateFile)
            return stateFile.unexpected();
        auto response = measure::loadResponse(*stateFile);
        if (!response)
            return response.unexpected();
        audition::CandidateRequest entry {candidate.name, std::move(*response), {}};
        if (!candidate.tuningFile.empty()) {
            const auto tuningFile = resolveInside(job.folder, candidate.tuningFile);
            if (!tuningFile)
                return tuningFile.unexpected();
            auto tuning = loadTuningToHear(*tuningFile);
            if (!tuning)
                return tuning.unexpected();
            entry.tuning = std::move(*tuning);
        }
        if (!candidate.speedVolumeFile.empty()) {
            const auto file = resolveInside(job.folder, candidate.speedVolumeFile);
            if (!file)
                return file.unexpected();
            auto dependence = audition::loadSpeedDependence(*file);
            if (!dependence)
                return dependence.unexpected();
            entry.atSpeed = *std::move(dependence);
        }
        if (!candidate.overdriveFile.empty()) {
            const auto file = resolveInside(job.folder, candidate.overdriveFile);
            if (!file)
                return file.unexpected();
            auto model = measure::loadHammersteinModel(*file);
            if (!model)
                return model.unexpected();
            entry.overdrive = std::make_shared<const measure::HammersteinModel>(*std::move(model));
        }
        request.candidates.push_back(std::move(entry));
    }
    return request;
}

dsp::Result<std::optional<seat::HeadphoneCalibration>> loadHeadphones(const Job& job)
{
    if (job.seat.headphoneCalibrationFile.empty())
        return std::optional<seat::HeadphoneCalibration> {};
    const auto file = resolveInside(job.folder, job.seat.headphoneCalibrationFile);
    if (!file)
        return file.unexpected();
    auto calibration = seat::loadHeadphoneCalibration(*file);
    if (!calibration)
        return calibration.unexpected();
    return std::optional(*std::move(calibration));
}

std::string freeName(const Job& job, const std::string& subfolder, const std::string& wanted)
{
    constexpr std::size_t longestStem = 56;
    std::string stem;
    for (const char c : wanted.substr(0, longestStem))
        stem += isIdentifier(std::string(1, c)) ? c : '-';
    if (stem.empty())
        stem = "state";
    std::string name = stem;
    std::error_code reason;
    for (int number = 2; std::filesystem::exists(job.folder / subfolder / (name + ".json"), reason)
                         || std::ranges::find(job.states, name, &JobState::id) != job.states.end();
         ++number)
        name = stem + "-" + std::to_string(number);
    return name;
}

dsp::Result<AddedState> addState(Job& job, const measure::Response& response,
                                 const std::string& wantedId, const std::string& candidateName,
                                 const std::optional<tuning::Tuning>& tuning)
{
    AddedState added;
    added.id = freeName(job, "states", wantedId);
    added.isCandidate = job.candidates.size() < audition::maxCandidates;
    const std::string stateFile = "states/" + added.id + ".json";
    JobCandidate candidate {candidateName, added.id, ""};
    if (tuning) {
        candidate.tuningFile =
            "tunings/" + freeName(job, "tunings", tuning->name.empty() ? added.id : tuning->name)
            + ".json";
        if (const auto saved = tuning::saveTuning(*tuning, job.folder / candidate.tuningFile);
            !saved)
            return saved.unexpected();
    }
    if (const auto saved = measure::saveResponse(response, job.folder / stateFile); !saved)
        return saved.unexpected();

    Job changed = job;
    changed.states.push_back({added.id, stateFile});
    if (added.isCandidate)
        changed.candidates.push_back(std::move(candidate));
    if (const auto saved = saveJob(changed); !saved)
        return saved.unexpected();
    job = std::move(changed);
    return added;
}

dsp::Result<std::string> storeTuning(const Job& job, const nlohmann::json& tuning,
                                     const std::string& wanted)
{
    std::string file = "tunings/" + freeName(job, "tunings", wanted) + ".json";
    if (const auto written = files::writeTextFile(job.folder / file, files::jsonText(tuning));
        !written)
        return written.unexpected();
    return file;
}

std::vector<std::string> checkJob(const Job& job)
{
    std::vector<std::string> problems;
    const auto check = [&](const std::string& relative, const auto& load) {
        const auto file = resolveInside(job.folder, relative);
        if (!file) {
            problems.push_back(file.error().message);
            return;
        }
        if (const auto loaded = load(*file); !loaded)
            problems.push_back(loaded.error().message);
    };
    for (const JobState& state : job.states)
        check(state.file, measure::loadResponse);
    for (const JobCandidate& candidate : job.candidates)
        if (!candidate.tuningFile.empty())
            check(candidate.tuningFile, loadTuningToHear);
    for (const JobCandidate& candidate : job.candidates)
        if (!candidate.speedVolumeFile.empty())
            check(candidate.speedVolumeFile, audition::loadSpeedDependence);
    for (const JobCandidate& candidate : job.candidates)
        if (!candidate.overdriveFile.empty())
            check(candidate.overdriveFile, measure::loadHammersteinModel);
    if (!job.ride.recordedNoiseFile.empty())
        check(job.ride.recordedNoiseFile, ride::loadRecordedNoise);
    if (const auto seat = loadSeat(job); !seat)
        problems.push_back(seat.error().message);
    if (const auto headphones = loadHeadphones(job); !headphones)
        problems.push_back(headphones.error().message);
    for (const std::string& programme : job.programmes)
        check(programme,
              [](const std::filesystem::path& file) { return files::readAudioFile(file); });
    if (const auto runs = blindRunsOf(job); !runs)
        problems.push_back(runs.error().message);
    if (const auto events = loadEvents(job.folder); !events)
        problems.push_back(events.error().message);
    return problems;
}

} // namespace saddletone::job
