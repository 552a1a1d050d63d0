#include "Core/Job/EventRecords.h"

#include "Core/Audition/AuditionScene.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"

#include <utility>

#include <nlohmann/json.hpp>

namespace saddletone::job {

namespace {

using audition::EventRecord;

constexpr const char* eventsKind = "saddletone-events";
constexpr int eventsSchemaVersion = 1;
constexpr const char* eventsKey = "events";
constexpr const char* startedAtKey = "startedAt";
constexpr long long mostListeners = 1000000;

EventRecord readEvent(files::JsonReader& reader)
{
    EventRecord record;
    record.startedAt = reader.text(startedAtKey);
    record.changedAt = reader.text("changedAt", "");
    record.match = reader.boolean("equalLoudness", false) ? audition::LevelMatch::equalLoudness
                                                          : audition::LevelMatch::asOnTheBike;
    record.numListeners =
        static_cast<std::size_t>(reader.integer("numListeners", 0, mostListeners));
    for (auto& entry : reader.objects("candidates")) {
        audition::EventCandidate candidate;
        candidate.name = entry.text("name");
        candidate.timesPreferred =
            static_cast<std::size_t>(entry.integer("timesPreferred", 0, mostListeners));
        reader.absorb(entry);
        record.candidates.push_back(std::move(candidate));
    }
    if (reader.failure())
        return record;
    if (record.candidates.size() > audition::maxCandidates)
        reader.reject("candidates", "holds more than " + std::to_string(audition::maxCandidates));
    else if (record.numAnswers() > record.numListeners)
        reader.reject("numListeners", "is below the number of those who preferred a candidate");
    return record;
}

/** The document and what it says; an empty one if there is no file. */
struct Events {
    nlohmann::json document;
    std::vector<EventRecord> records;
};

dsp::Result<Events> readEvents(const std::filesystem::path& file)
{
    Events events;
    std::error_code reason;
    if (!std::filesystem::exists(file, reason)) {
        events.document = {{"kind", eventsKind},
                           {"schemaVersion", eventsSchemaVersion},
                           {eventsKey, nlohmann::json::array()}};
        return events;
    }
    auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    events.document = *std::move(json);
    files::JsonReader reader(events.document, file.string());
    reader.expectKind(eventsKind, eventsSchemaVersion);
    for (auto& entry : reader.objects(eventsKey)) {
        events.records.push_back(readEvent(entry));
        reader.absorb(entry);
    }
    if (!reader.failure() && !reader.has(eventsKey))
        reader.reject(eventsKey, "is missing");
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return events;
}

} // namespace

nlohmann::json eventToJson(const EventRecord& record)
{
    nlohmann::json json {{startedAtKey, record.startedAt},
                         {"changedAt", record.changedAt},
                         {"equalLoudness", record.match == audition::LevelMatch::equalLoudness},
                         {"numListeners", record.numListeners},
                         {"candidates", nlohmann::json::array()}};
    for (const audition::EventCandidate& candidate : record.candidates)
        json["candidates"].push_back(
            {{"name", candidate.name}, {"timesPreferred", candidate.timesPreferred}});
    return json;
}

dsp::Result<std::vector<EventRecord>> loadEvents(const std::filesystem::path& folder)
{
    auto events = readEvents(folder / eventsFileName);
    if (!events)
        return events.unexpected();
    return std::move(events->records);
}

dsp::Result<void> storeEvent(const std::filesystem::path& folder, const EventRecord& record)
{
    auto events = readEvents(folder / eventsFileName);
    if (!events)
        return dsp::fail(events.error().code, events.error().message);
    auto& list = events->document[eventsKey];
    std::size_t index = 0;
    while (index < events->records.size() && events->records[index].startedAt != record.startedAt)
        ++index;
    if (index < events->records.size())
        list[index].update(eventToJson(record));
    else
        list.push_back(eventToJson(record));
    return files::writeTextFile(folder / eventsFileName, files::jsonText(events->document));
}

} // namespace saddletone::job
