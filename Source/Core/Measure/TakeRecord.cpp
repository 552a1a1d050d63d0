#include "Core/Measure/TakeRecord.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"

#include <algorithm>
#include <array>
#include <limits>

#include <nlohmann/json.hpp>

namespace saddletone::measure {

namespace {

constexpr int takeSchemaVersion = 1;
constexpr std::string_view takeKind = "saddletone-take";
constexpr std::string_view recordExtension = ".take.json";
constexpr std::array allPurposes {TakePurpose::sweep, TakePurpose::noiseFloor,
                                  TakePurpose::calibration, TakePurpose::analysis};
constexpr std::array allCauses {DropoutCause::bufferFull, DropoutCause::device};
constexpr std::array allEnds {TakeEnd::unfinished, TakeEnd::byUser,      TakeEnd::endMarkerHeard,
                              TakeEnd::longest,    TakeEnd::writeFailed, TakeEnd::deviceClosed};
constexpr double longestSeconds = 1e7;
constexpr long long mostFrames = std::numeric_limits<long long>::max();

/** The value of an enumeration whose name stands under a key. */
template <typename Value, std::size_t count>
Value named(files::JsonReader& reader, std::string_view key, const std::array<Value, count>& values,
            std::string_view (*nameOf)(Value) noexcept)
{
    const std::string name = reader.text(key);
    for (const Value value : values)
        if (nameOf(value) == name)
            return value;
    reader.reject(key, "holds '" + name + "', which is not known");
    return values.front();
}

dsp::Result<TakeRecord> changeRecord(const std::filesystem::path& audioFile,
                                     const std::string& verdict, bool refused)
{
    auto record = loadTakeRecord(audioFile);
    if (!record)
        return record;
    record->refused = refused;
    record->refusalReason = refused ? verdict : "";
    record->verdict = verdict;
    if (const auto saved = saveTakeRecord(*record, audioFile); !saved)
        return saved.unexpected();
    return record;
}

} // namespace

std::string_view takePurposeName(TakePurpose purpose) noexcept
{
    switch (purpose) {
    case TakePurpose::noiseFloor: return "noise-floor";
    case TakePurpose::calibration: return "calibration";
    case TakePurpose::analysis: return "analysis";
    case TakePurpose::sweep: break;
    }
    return "sweep";
}

dsp::Result<TakePurpose> parseTakePurpose(std::string_view name)
{
    for (const TakePurpose purpose : allPurposes)
        if (takePurposeName(purpose) == name)
            return purpose;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "purpose '" + std::string(name)
                         + "' is not known; use sweep, noise-floor, calibration or analysis");
}

std::string_view dropoutCauseName(DropoutCause cause) noexcept
{
    return cause == DropoutCause::device ? "device" : "buffer-full";
}

std::string_view takeEndName(TakeEnd end) noexcept
{
    switch (end) {
    case TakeEnd::byUser: return "by-user";
    case TakeEnd::endMarkerHeard: return "end-marker-heard";
    case TakeEnd::longest: return "longest";
    case TakeEnd::writeFailed: return "write-failed";
    case TakeEnd::deviceClosed: return "device-closed";
    case TakeEnd::unfinished: break;
    }
    return "unfinished";
}

std::filesystem::path takeRecordFile(const std::filesystem::path& audioFile)
{
    auto file = audioFile;
    return file.replace_extension(recordExtension);
}

dsp::Result<void> saveTakeRecord(const TakeRecord& record, const std::filesystem::path& audioFile)
{
    nlohmann::json dropouts = nlohmann::json::array();
    for (const Dropout& dropout : record.dropouts)
        dropouts.push_back({{"timeSeconds", dropout.timeSeconds},
                            {"lostFrames", dropout.lostFrames},
                            {"cause", dropoutCauseName(dropout.cause)},
                            {"filledWithSilence", dropout.filledWithSilence}});
    const nlohmann::json json {{"kind", takeKind},
                               {"schemaVersion", takeSchemaVersion},
                               {"audioFile", audioFile.filename().string()},
                               {"recordedAt", record.recordedAt},
                               {"purpose", takePurposeName(record.purpose)},
                               {"place", record.place},
                               {"device", record.device},
                               {"deviceChannels", record.deviceChannels},
                               {"gainNote", record.gainNote},
                               {"sampleRate", record.sampleRate},
                               {"numFrames", record.numFrames},
                               {"preRollSeconds", record.preRollSeconds},
                               {"dropouts", std::move(dropouts)},
                               {"numUnlistedDropouts", record.numUnlistedDropouts},
                               {"numClips", record.numClips},
                               {"end", takeEndName(record.end)},
                               {"problem", record.problem},
                               {"verdict", record.verdict},
                               {"refused", record.refused},
                               {"refusalReason", record.refusalReason}};
    return files::writeTextFile(takeRecordFile(audioFile), files::jsonText(json));
}

dsp::Result<TakeRecord> loadTakeRecord(const std::filesystem::path& audioFile)
{
    const auto file = takeRecordFile(audioFile);
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(takeKind, takeSchemaVersion);
    TakeRecord record;
    record.audioFile = reader.text("audioFile");
    record.recordedAt = reader.text("recordedAt", "");
    record.purpose = named(reader, "purpose", allPurposes, takePurposeName);
    record.place = reader.text("place", "");
    record.device = reader.text("device", "");
    for (const double channel : reader.numbers("deviceChannels", 0.0, 4096.0))
        record.deviceChannels.push_back(static_cast<std::size_t>(channel));
    record.gainNote = reader.text("gainNote", "");
    record.sampleRate = reader.number("sampleRate", 8000.0, 384000.0);
    record.numFrames = static_cast<std::uint64_t>(reader.integer("numFrames", 0, mostFrames, 0));
    record.preRollSeconds = reader.number("preRollSeconds", 0.0, longestSeconds, 0.0);
    for (auto& entry : reader.objects("dropouts")) {
        Dropout dropout;
        dropout.timeSeconds = entry.number("timeSeconds", 0.0, longestSeconds);
        dropout.lostFrames = static_cast<std::uint64_t>(entry.integer("lostFrames", 0, mostFrames));
        dropout.cause = named(entry, "cause", allCauses, dropoutCauseName);
        dropout.filledWithSilence = entry.boolean("filledWithSilence", false);
        reader.absorb(entry);
        record.dropouts.push_back(dropout);
    }
    record.numUnlistedDropouts =
        static_cast<std::uint64_t>(reader.integer("numUnlistedDropouts", 0, mostFrames, 0));
    record.numClips = static_cast<std::uint64_t>(reader.integer("numClips", 0, mostFrames, 0));
    record.end = named(reader, "end", allEnds, takeEndName);
    record.problem = reader.text("problem", "");
    record.verdict = reader.text("verdict", "");
    record.refused = reader.boolean("refused", false);
    record.refusalReason = reader.text("refusalReason", "");
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return record;
}

dsp::Result<TakeRecord> noteVerdict(const std::filesystem::path& audioFile,
                                    const std::string& verdict)
{
    return changeRecord(audioFile, verdict, false);
}

dsp::Result<TakeRecord> refuseTake(const std::filesystem::path& audioFile,
                                   const std::string& reason)
{
    return changeRecord(audioFile, reason, true);
}

TakeList listTakes(const std::filesystem::path& folder)
{
    TakeList list;
    std::error_code reason;
    for (std::filesystem::directory_iterator entry(folder, reason), end; !reason && entry != end;
         entry.increment(reason)) {
        const auto audioFile = entry->path();
        if (audioFile.extension() != ".wav"
            || !std::filesystem::exists(takeRecordFile(audioFile), reason))
            continue;
        if (auto record = loadTakeRecord(audioFile))
            list.takes.push_back({audioFile, std::move(*record)});
        else
            list.problems.push_back(record.error().message);
    }
    if (reason)
        list.problems.push_back("cannot list the takes in '" + folder.string()
                                + "': " + reason.message());
    std::ranges::sort(list.takes, {}, &ListedTake::audioFile);
    std::ranges::sort(list.problems);
    return list;
}

} // namespace saddletone::measure
