#include "Core/Measure/StateOrigin.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Measure/CalibrationRecord.h"

#include <nlohmann/json.hpp>

namespace saddletone::measure {

namespace {

constexpr const char* dayKey = "measuredOn";
constexpr const char* microphoneKey = "microphone";

} // namespace

StateOrigin originOf(const TakeRecord& record)
{
    const std::string day = record.recordedAt.substr(0, std::string_view("2026-05-01").size());
    return {daysBetween(day, day) ? day : std::string(), record.device};
}

dsp::Result<StateOrigin> loadOrigin(const std::filesystem::path& stateFile)
{
    const auto json = files::loadJson(stateFile);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, stateFile.string());
    StateOrigin origin {reader.text(dayKey, ""), reader.text(microphoneKey, "")};
    if (!origin.measuredOn.empty())
        if (const auto day = daysBetween(origin.measuredOn, origin.measuredOn); !day)
            reader.reject(dayKey, "is no day: " + day.error().message);
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return origin;
}

dsp::Result<void> noteOrigin(const StateOrigin& origin, const std::filesystem::path& stateFile)
{
    if (origin == StateOrigin {})
        return {};
    auto json = files::loadJson(stateFile);
    if (!json)
        return json.unexpected();
    if (!origin.measuredOn.empty())
        (*json)[dayKey] = origin.measuredOn;
    if (!origin.microphone.empty())
        (*json)[microphoneKey] = origin.microphone;
    return files::writeTextFile(stateFile, files::jsonText(*json));
}

} // namespace saddletone::measure
