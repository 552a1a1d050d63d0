#include "Core/Job/Job.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/FilesUntilKept.h"
#include "Core/Files/JsonReader.h"
#include "Core/Job/BlindRuns.h"
#include "Core/Job/EventRecords.h"
#include "Core/Job/JobLock.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Platform/Platform.h"
#include "Core/Seat/ListenerSeat.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <map>
#include <set>
#include <span>
#include <system_error>

#include <nlohmann/json.hpp>

namespace saddletone::job {

namespace {

constexpr std::string_view jobKind = "saddletone-job";
constexpr double fastestKmh = 250.0; // of the audition engine

bool isIdentifier(const std::string& text)
{
    return !text.empty() && text.size() <= 64 && std::ranges::all_of(text, [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9')
               || c == '-' || c == '_';
    });
}

void checkPath(files::JsonReader& reader, std::string_view key, const std::string& relative)
{
    if (const auto checked = files::checkInnerPath(relative); !checked)
        reader.reject(key, checked.error().message);
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

constexpr std::string_view placesKey = "speakerPlaces";

/** The place of a pair of speakers: its key, and where it is kept. */
struct SpeakerPair {
    std::string_view key;
    seat::Direction seat::SpeakerPlaces::*direction;
    std::optional<double> seat::SpeakerPlaces::*metres;
};

constexpr std::array speakerPairs {
    SpeakerPair {"front", &seat::SpeakerPlaces::front, &seat::SpeakerPlaces::frontMetres},
    SpeakerPair {"rear", &seat::SpeakerPlaces::rear, &seat::SpeakerPlaces::rearMetres}};

/** Sets the places in a seat's block; the usual ones are not written. */
void writePlaces(const seat::SpeakerPlaces& places, nlohmann::json& block)
{
    if (places == seat::SpeakerPlaces {}) {
        block.erase(std::string(placesKey));
        return;
    }
    auto& written = block[std::string(placesKey)];
    if (!written.is_object())
        written = nlohmann::json::object();
    for (const auto& [key, direction, metres] : speakerPairs) {
        auto& pair = written[std::string(key)];
        if (!pair.is_object())
            pair = nlohmann::json::object();
        pair["azimuthDegrees"] = (places.*direction).azimuthDegrees;
        pair["elevationDegrees"] = (places.*direction).elevationDegrees;
        if (places.*metres)
            pair["distanceMetres"] = *(places.*metres);
        else
            pair.erase("distanceMetres");
    }
}

seat::SpeakerPlaces readPlaces(files::JsonReader& reader)
{
    seat::SpeakerPlaces places;
    for (const auto& [key, direction, metres] : speakerPairs) {
        auto pair = reader.object(key);
        seat::Direction& place = places.*direction;
        place.azimuthDegrees = pair.number("azimuthDegrees", 0.0, 180.0, place.azimuthDegrees);
        place.elevationDegrees =
            pair.number("elevationDegrees", -90.0, 90.0, place.elevationDegrees);
        if (pair.has("distanceMetres"))
            places.*metres = pair.number("distanceMetres", seat::nearestSpeakerMetres,
                                         seat::farthestSpeakerMetres);
        reader.absorb(pair);
    }
    return places;
}

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
    writePlaces(seat.places, block);
    if (block.empty())
        document.erase("seat");
    else
        document["seat"] = std::move(block);
}

/** Sets a block of the report, or takes its keys out where all stands at its default. */
template <typename Settings, typename Write>
void writeBlock(std::string_view key, const Settings& settings, nlohmann::json& document,
                Write&& write)
{
    auto block = document.value(key, nlohmann::json::object());
    if (!block.is_object())
        block = nlohmann::json::object();
    if (block.empty() && settings == Settings {})
        return;
    write(block);
    document[std::string(key)] = std::move(block);
}

void writeReportStyle(const JobReportStyle& style, nlohmann::json& document)
{
    writeBlock("report", style, document, [&](nlohmann::json& block) {
        block["speedUnits"] = report::speedUnitsName(style.speedUnits);
        if (style.speedsKmh.empty())
            block.erase("speedsKmh");
        else
            block["speedsKmh"] = style.speedsKmh;
    });
}

void writeCost(const JobCost& cost, nlohmann::json& document)
{
    writeBlock("cost", cost, document, [&](nlohmann::json& block) {
        block["plannedSplDb"] = cost.plannedSplDb;
        block["distanceMetres"] = cost.distanceMetres;
        if (cost.amplifierWatts > 0.0)
            block["amplifierWatts"] = cost.amplifierWatts;
        else
            block.erase("amplifierWatts");
    });
}

JobReportStyle readReportStyle(files::JsonReader& reader)
{
    JobReportStyle style;
    if (const auto units = report::parseSpeedUnits(reader.text("speedUnits", "both")))
        style.speedUnits = *units;
    else
        reader.reject("speedUnits", "is not known: " + units.error().message);
    if (reader.has("speedsKmh"))
        style.speedsKmh = reader.numbers("speedsKmh", 0.0, fastestKmh);
    if (const auto checked = checkReportSpeeds(style.speedsKmh); !checked)
        reader.reject("speedsKmh", "is not what a report can show: " + checked.error().message);
    return style;
}

JobCost readCost(files::JsonReader& reader)
{
    JobCost cost;
    if (reader.has("amplifierWatts"))
        cost.amplifierWatts = reader.number("amplifierWatts", 1.0, 2000.0);
    cost.plannedSplDb = reader.number("plannedSplDb", 40.0, 130.0, cost.plannedSplDb);
    cost.distanceMetres = reader.number("distanceMetres", 0.2, 5.0, cost.distanceMetres);
    return cost;
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
    auto places = reader.object(placesKey);
    seat.places = readPlaces(places);
    reader.absorb(places);
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
    settings.places = job.seat.places;
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

/** Sets what a state says of another bike; keys of it that are not known stay. */
void writeOtherBike(const OtherBike& other, nlohmann::json& entry)
{
    auto& block = entry["measuredElsewhere"];
    if (!block.is_object())
        block = nlohmann::json::object();
    block["jobTitle"] = other.jobTitle;
    block["bike"] = other.bike;
    block["stateId"] = other.stateId;
    block["date"] = other.date;
}

OtherBike readOtherBike(files::JsonReader& reader)
{
    return {reader.text("jobTitle", ""), reader.text("bike", ""), reader.text("stateId", ""),
            reader.text("date", "")};
}

nlohmann::json toDocument(const Job& job)
{
    const auto known = job.document ? *job.document : nlohmann::json::object();
    nlohmann::json document = known;
    document["kind"] = jobKind;
    document["schemaVersion"] = jobSchemaVersion;
    document["title"] = job.title;
    document["shop"] = job.shop;
    document["bike"] = job.bike;
    if (job.question.empty())
        document.erase("question");
    else
        document["question"] = job.question;
    document["invented"] = job.invented;

    nlohmann::json states = nlohmann::json::array();
    for (const JobState& state : job.states) {
        auto entry = matchingEntry(known, "states", "id", state.id);
        entry["id"] = state.id;
        entry["file"] = state.file;
        if (state.measuredElsewhere)
            writeOtherBike(*state.measuredElsewhere, entry);
        else
            entry.erase("measuredElsewhere");
        states.push_back(std::move(entry));
    }
    document["states"] = std::move(states);

    nlohmann::json candidates = nlohmann::json::array();
    std::map<std::string, std::size_t> numOfName;
    for (const JobCandidate& candidate : job.candidates) {
        auto entry =
            matchingEntry(known, "candidates", "name", candidate.name, numOfName[candidate.name]++);
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
        if (candidate.isProposed)
            entry["isProposed"] = true;
        else
            entry.erase("isProposed");
        if (candidate.groupStateIds.empty()) {
            entry.erase("groupStateIds");
            entry.erase("groupSum");
        } else {
            entry["groupStateIds"] = candidate.groupStateIds;
            entry["groupSum"] = measure::groupSumName(candidate.groupSum);
        }
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
    writeReportStyle(job.report, document);
    writeCost(job.cost, document);
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

/** The states of a candidate's other speaker groups. */
void readGroups(files::JsonReader& entry, const std::set<std::string>& ids, JobCandidate& candidate)
{
    candidate.groupStateIds = entry.texts("groupStateIds");
    for (const std::string& id : candidate.groupStateIds)
        if (!entry.failure() && !ids.contains(id))
            entry.reject("groupStateIds", "holds '" + id + "', but no state has this id");
    const std::string sum =
        entry.text("groupSum", std::string(measure::groupSumName(candidate.groupSum)));
    if (const auto known = measure::parseGroupSum(sum))
        candidate.groupSum = *known;
    else
        entry.reject("groupSum", "is '" + sum + "', but must be timed or power");
}

dsp::Result<measure::Response> loadState(const Job& job, const JobCandidate& candidate,
                                         const std::string& id)
{
    const auto state = std::ranges::find(job.states, id, &JobState::id);
    if (state == job.states.end())
        return dsp::fail(dsp::ErrorCode::notFound, "candidate '" + candidate.name
                                                       + "' names the state '" + id
                                                       + "', which the job does not have");
    const auto file = resolveInside(job.folder, state->file);
    if (!file)
        return file.unexpected();
    return measure::loadResponse(*file);
}

/** What a candidate names: its states, its tuning and the rest. */
dsp::Result<audition::CandidateRequest> loadCandidate(const Job& job, const JobCandidate& candidate)
{
    audition::CandidateRequest loaded;
    std::vector<measure::Response> states;
    for (const std::string& id : candidate.allStateIds()) {
        auto response = loadState(job, candidate, id);
        if (!response)
            return response.unexpected();
        states.push_back(*std::move(response));
    }
    if (candidate.groupStateIds.empty()) {
        loaded = {candidate.name, std::move(states.front()), {}};
    } else {
        auto groups = measure::groupStates(std::move(states), candidate.groupSum);
        if (!groups)
            return dsp::fail(groups.error().code,
                             "candidate '" + candidate.name + "': " + groups.error().message);
        loaded = audition::candidateOfGroups(candidate.name, *std::move(groups));
    }
    if (!candidate.tuningFile.empty()) {
        const auto file = resolveInside(job.folder, candidate.tuningFile);
        if (!file)
            return file.unexpected();
        auto tuning = tuning::loadTuning(*file);
        if (!tuning)
            return tuning.unexpected();
        loaded.tuning = *std::move(tuning);
        if (const auto applies = audition::checkTuning(loaded); !applies)
            return dsp::fail(applies.error().code,
                             "'" + file->string() + "': " + applies.error().message);
    }
    if (!candidate.speedVolumeFile.empty()) {
        const auto file = resolveInside(job.folder, candidate.speedVolumeFile);
        if (!file)
            return file.unexpected();
        auto dependence = audition::loadSpeedDependence(*file);
        if (!dependence)
            return dependence.unexpected();
        loaded.atSpeed = *std::move(dependence);
    }
    if (!candidate.overdriveFile.empty()) {
        const auto file = resolveInside(job.folder, candidate.overdriveFile);
        if (!file)
            return file.unexpected();
        auto model = measure::loadHammersteinModel(*file);
        if (!model)
            return model.unexpected();
        loaded.overdrive = std::make_shared<const measure::HammersteinModel>(*std::move(model));
    }
    return loaded;
}

} // namespace

dsp::Result<void> checkReportSpeeds(std::span<const double> speedsKmh)
{
    const bool isInRange = std::ranges::all_of(
        speedsKmh, [](double speedKmh) { return speedKmh >= 0.0 && speedKmh <= fastestKmh; });
    const bool rises =
        std::ranges::adjacent_find(speedsKmh, std::ranges::greater_equal()) == speedsKmh.end();
    if (!isInRange || !rises || speedsKmh.size() > JobReportStyle::mostSpeeds)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "a report has at most " + std::to_string(JobReportStyle::mostSpeeds)
                             + " speeds, which must rise and lie between 0 and "
                             + std::to_string(std::lround(fastestKmh)) + " km/h");
    return {};
}

std::vector<std::string> JobCandidate::allStateIds() const
{
    std::vector<std::string> ids {stateId};
    ids.insert(ids.end(), groupStateIds.begin(), groupStateIds.end());
    return ids;
}

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

dsp::Result<Job> jobFromText(const std::string& text, const std::string& source,
                             const std::filesystem::path& folder)
{
    const auto json = files::parseJson(text, source);
    if (!json)
        return json.unexpected();

    files::JsonReader reader(*json, source);
    reader.expectKind(jobKind, jobSchemaVersion);
    Job job;
    job.folder = folder;
    job.document = std::make_shared<const nlohmann::json>(*json);
    job.storedChecksum = files::textChecksum(text);
    job.title = reader.text("title", "");
    job.shop = reader.text("shop", "");
    job.bike = reader.text("bike", "");
    job.question = reader.text("question", "");
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
        if (entry.has("measuredElsewhere")) {
            auto other = entry.object("measuredElsewhere");
            state.measuredElsewhere = readOtherBike(other);
            entry.absorb(other);
        }
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
        candidate.isProposed = entry.boolean("isProposed", false);
        if (!entry.failure() && candidate.isProposed
            && std::ranges::any_of(job.candidates, &JobCandidate::isProposed))
            entry.reject("isProposed", "is true of another candidate already; propose one");
        readGroups(entry, ids, candidate);
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
    auto report = reader.object("report");
    job.report = readReportStyle(report);
    reader.absorb(report);
    auto cost = reader.object("cost");
    job.cost = readCost(cost);
    reader.absorb(cost);

    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return job;
}

dsp::Result<Job> loadJob(const std::filesystem::path& folder)
{
    std::error_code reason;
    if (!std::filesystem::is_directory(folder, reason))
        return dsp::fail(dsp::ErrorCode::notFound,
                         "'" + folder.string() + "' is not a job: there is no such folder");
    const auto file = folder / jobFileName;
    const auto previousFile = folder / previousFileName;
    const bool isThere = std::filesystem::exists(file, reason);
    if (!isThere && !std::filesystem::exists(previousFile, reason))
        return dsp::fail(
            dsp::ErrorCode::notFound,
            "'" + folder.string()
                + "' is not a job: it has no job.json; choose the folder that holds it");

    const auto text = files::readTextFile(file);
    const auto json = text ? files::parseJson(*text, file.string())
                           : dsp::Result<nlohmann::json>(text.unexpected());
    if (json)
        return jobFromText(*text, file.string(), folder);
    // Only what no hand and no other version writes is taken for damage; a key that is wrong is
    // named instead.
    const auto previousText = files::readTextFile(previousFile);
    auto previous = previousText ? jobFromText(*previousText, previousFile.string(), folder)
                                 : dsp::Result<Job>(previousText.unexpected());
    if (!previous)
        return json.unexpected();
    previous->storedChecksum = text ? files::textChecksum(*text) : std::string();
    previous->warnings.push_back(
        (isThere ? json.error().message + ": it is damaged" : "'" + file.string() + "' is missing")
        + ". The version before the last save, " + std::string(previousFileName)
        + ", was opened in its place; what was changed last is not in it"
        + (isThere ? ". The damaged file is kept when the job is saved." : "."));
    return previous;
}

namespace {

/** Whether a job's folder may be written now. */
dsp::Result<void> checkMayWrite(const Job& job)
{
    std::error_code reason;
    if (!job.storedChecksum.empty() && !std::filesystem::is_directory(job.folder, reason))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "the job's folder '" + job.folder.string()
                             + "' is gone, so nothing was saved; connect its disk again, or find "
                               "where the folder was moved, and save once more");
    if (const auto other = otherWriter(job.folder))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "the job '" + job.folder.string() + "' is open in "
                             + lockHolderWords(*other)
                             + ", so nothing was saved; close it there and save once more");
    return {};
}

/** Keeps what job.json holds: as the previous version, or if it is damaged under a name of its own,
    so that the previous version stays. */
dsp::Result<void> keepPresent(const std::filesystem::path& folder, const std::string& present)
{
    if (files::parseJson(present, ""))
        return files::writeTextFile(folder / previousFileName, present);
    std::error_code reason;
    std::filesystem::path kept;
    for (int number = 1; number == 1 || std::filesystem::exists(kept, reason); ++number)
        kept = folder / ("job.damaged-" + std::to_string(number) + ".json");
    return files::writeTextFile(kept, present);
}

} // namespace

dsp::Result<void> saveJob(Job& job, SaveRule rule)
{
    const auto file = job.folder / jobFileName;
    // Held while what is there is looked at and replaced.
    platform::SystemLock saving;
    saving.waitForFolder(job.folder);
    if (const auto may = checkMayWrite(job); !may)
        return may;
    std::error_code reason;
    if (std::filesystem::exists(file, reason)) {
        const auto present = files::readTextFile(file);
        if (!present)
            return present.unexpected();
        if (rule == SaveRule::refuseChanged && files::textChecksum(*present) != job.storedChecksum)
            return dsp::fail(
                dsp::ErrorCode::alreadyExists,
                job.storedChecksum.empty()
                    ? "'" + job.folder.string()
                          + "' holds a job already, so nothing was saved; open that one, or choose "
                            "another folder"
                    : "'" + file.string()
                          + "' was changed by another program since it was read, so nothing was "
                            "saved; open the job again and repeat the change");
        if (const auto kept = keepPresent(job.folder, *present); !kept)
            return kept;
    } else if (rule == SaveRule::refuseChanged && !job.storedChecksum.empty()) {
        return dsp::fail(dsp::ErrorCode::alreadyExists,
                         "'" + file.string()
                             + "' was removed by another program since it was read, so nothing was "
                               "saved; open the job again");
    }
    const std::string text = files::jsonText(toDocument(job));
    if (const auto written = files::writeTextFile(file, text); !written)
        return written;
    job.storedChecksum = files::textChecksum(text);
    return {};
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
    auto seat = loadListenerSeat(job);
    if (!seat)
        return seat.unexpected();
    request.seat = *std::move(seat);
    for (const JobCandidate& candidate : job.candidates) {
        auto loaded = loadCandidate(job, candidate);
        if (!loaded)
            return loaded.unexpected();
        request.candidates.push_back(*std::move(loaded));
    }
    return request;
}

dsp::Result<std::shared_ptr<const seat::ListenerSeat>> loadListenerSeat(const Job& job)
{
    const auto settings = seatSettings(job);
    if (!settings)
        return settings.unexpected();
    return seat::loadListenerSeat(*settings);
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

namespace {

/** Writes states and tuning into a job's folder, and the job with them. */
dsp::Result<std::vector<std::string>> addAll(Job& job, std::span<const StateToAdd> states,
                                             bool isCandidate, JobCandidate candidate,
                                             const std::optional<tuning::Tuning>& tuning)
{
    if (const auto may = checkMayWrite(job); !may)
        return may.unexpected();
    Job changed = job;
    std::vector<std::string> ids;
    for (const StateToAdd& state : states) {
        ids.push_back(freeName(changed, "states", state.wantedId));
        changed.states.push_back(
            {ids.back(), "states/" + ids.back() + ".json", state.measuredElsewhere});
    }
    files::FilesUntilKept written;
    if (tuning) {
        candidate.tuningFile =
            "tunings/" + freeName(job, "tunings", tuning->name.empty() ? ids.front() : tuning->name)
            + ".json";
        written.add(job.folder / candidate.tuningFile);
        if (const auto saved = tuning::saveTuning(*tuning, job.folder / candidate.tuningFile);
            !saved)
            return saved.unexpected();
    }
    for (std::size_t index = 0; index < states.size(); ++index) {
        const auto file = job.folder / ("states/" + ids[index] + ".json");
        written.add(file);
        written.add(measure::impulsePath(file));
        written.add(measure::harmonicsPath(file));
        if (const auto saved = measure::saveResponse(states[index].response, file); !saved)
            return saved.unexpected();
        if (const auto noted = measure::noteOrigin(states[index].origin, file); !noted)
            return noted.unexpected();
    }
    candidate.stateId = ids.front();
    candidate.groupStateIds.assign(ids.begin() + 1, ids.end());
    if (isCandidate)
        changed.candidates.push_back(std::move(candidate));
    if (const auto saved = saveJob(changed); !saved)
        return saved.unexpected();
    written.keep();
    job = std::move(changed);
    return ids;
}

} // namespace

dsp::Result<AddedState> addState(Job& job, const measure::Response& response,
                                 const std::string& wantedId, const std::string& candidateName,
                                 const std::optional<tuning::Tuning>& tuning,
                                 const measure::StateOrigin& origin,
                                 const std::optional<OtherBike>& otherBike)
{
    const bool isCandidate = job.candidates.size() < audition::maxCandidates;
    const std::array states {StateToAdd {response, wantedId, origin, otherBike}};
    auto ids = addAll(job, states, isCandidate, {candidateName, "", ""}, tuning);
    if (!ids)
        return ids.unexpected();
    return AddedState {ids->front(), isCandidate};
}

dsp::Result<std::vector<std::string>> addGroups(Job& job, const std::vector<StateToAdd>& states,
                                                measure::GroupSum sum,
                                                const std::string& candidateName,
                                                const std::optional<tuning::Tuning>& tuning)
{
    if (job.candidates.size() >= audition::maxCandidates)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the job has " + std::to_string(audition::maxCandidates)
                             + " candidates already, as many as can be heard side by side");
    std::vector<measure::Response> responses;
    for (const StateToAdd& state : states)
        responses.push_back(state.response);
    auto groups = measure::groupStates(std::move(responses), sum);
    if (!groups)
        return groups.unexpected();
    auto candidate = audition::candidateOfGroups(candidateName, *std::move(groups));
    if (tuning)
        candidate.tuning = *tuning;
    if (const auto applies = audition::checkTuning(candidate); !applies)
        return dsp::fail(applies.error().code, applies.error().message);
    JobCandidate entry {candidateName, "", ""};
    entry.groupSum = sum;
    return addAll(job, states, true, std::move(entry), tuning);
}

dsp::Result<std::string> storeTuning(const Job& job, const nlohmann::json& tuning,
                                     const std::string& wanted)
{
    if (const auto may = checkMayWrite(job); !may)
        return may.unexpected();
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
            check(candidate.tuningFile, tuning::loadTuning);
    for (const JobCandidate& candidate : job.candidates)
        if (!candidate.speedVolumeFile.empty())
            check(candidate.speedVolumeFile, audition::loadSpeedDependence);
    for (const JobCandidate& candidate : job.candidates)
        if (!candidate.overdriveFile.empty())
            check(candidate.overdriveFile, measure::loadHammersteinModel);
    // What a candidate's files are together.
    for (const JobCandidate& candidate : job.candidates)
        if (const auto loaded = loadCandidate(job, candidate); !loaded)
            if (std::ranges::find(problems, loaded.error().message) == problems.end())
                problems.push_back(loaded.error().message);
    if (!job.ride.recordedNoiseFile.empty())
        check(job.ride.recordedNoiseFile, ride::loadRecordedNoise);
    if (const auto seat = loadListenerSeat(job); !seat)
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
