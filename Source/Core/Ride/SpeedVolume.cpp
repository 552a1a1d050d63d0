#include "Core/Ride/SpeedVolume.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cassert>
#include <string_view>

#include <nlohmann/json.hpp>

namespace saddletone::ride {

namespace {

constexpr int speedVolumeSchemaVersion = 1;
constexpr std::string_view speedVolumeKind = "saddletone-speed-volume";
constexpr double highestSpeedKmh = 400.0;

std::string_view courseName(SpeedCourse course) noexcept
{
    return course == SpeedCourse::steps ? "steps" : "curve";
}

SpeedCourse readCourse(files::JsonReader& reader, std::string_view key)
{
    const std::string name = reader.text(key, "curve");
    if (name != "steps" && name != "curve" && !reader.failure())
        reader.reject(key, "is '" + name + "', but must be steps or curve");
    return name == "steps" ? SpeedCourse::steps : SpeedCourse::curve;
}

template <typename Entry>
void expectAscending(files::JsonReader& reader, std::string_view key,
                     const std::vector<Entry>& entries)
{
    const auto doesNotAscend = [](const Entry& first, const Entry& second) {
        return !(second.speedKmh > first.speedKmh);
    };
    if (!reader.failure() && std::ranges::adjacent_find(entries, doesNotAscend) != entries.end())
        reader.reject(key, "must be in the order of rising speed, each speed once");
}

/** The two entries around a speed and the place between them; the same one twice outside. */
template <typename Entry>
StateMix around(const std::vector<Entry>& entries, double speedKmh) noexcept
{
    const std::size_t last = entries.size() - 1;
    if (speedKmh <= entries.front().speedKmh)
        return {0, 0, 0.0, speedKmh < entries.front().speedKmh};
    if (speedKmh >= entries[last].speedKmh)
        return {last, last, 0.0, speedKmh > entries[last].speedKmh};
    const auto above = std::ranges::upper_bound(entries, speedKmh, {}, &Entry::speedKmh);
    const auto upper = static_cast<std::size_t>(above - entries.begin());
    const double from = entries[upper - 1].speedKmh;
    const double mix = (speedKmh - from) / (entries[upper].speedKmh - from);
    if (mix <= 0.0)
        return {upper - 1, upper - 1, 0.0, false};
    return {upper - 1, upper, mix, false};
}

} // namespace

double SpeedVolume::gainDbAt(double speedKmh) const noexcept
{
    if (gains.empty())
        return 0.0;
    const StateMix place = around(gains, speedKmh);
    const double lowerDb = gains[place.lower].gainDb;
    if (volumeCourse == SpeedCourse::steps)
        return lowerDb;
    return lowerDb + place.mix * (gains[place.upper].gainDb - lowerDb);
}

StateMix SpeedVolume::stateMixAt(double speedKmh) const noexcept
{
    assert(!states.empty());
    StateMix place = around(states, speedKmh);
    if (equaliserCourse == SpeedCourse::steps) {
        place.lower = place.mix < 0.5 ? place.lower : place.upper;
        place.upper = place.lower;
        place.mix = 0.0;
    }
    return place;
}

std::string SpeedVolume::stateSentence(double speedKmh) const
{
    const auto kmh = [](double speed) { return files::fixedText(speed, 0) + " km/h"; };
    if (states.empty())
        return "The equaliser does not follow speed.";
    const StateMix place = stateMixAt(speedKmh);
    const double lowerKmh = states[place.lower].speedKmh;
    if (place.upper != place.lower)
        return "The response at " + kmh(speedKmh) + " is interpolated between those measured at "
               + kmh(lowerKmh) + " and " + kmh(states[place.upper].speedKmh) + ".";
    if (lowerKmh == speedKmh)
        return "The response was measured at " + kmh(lowerKmh) + ".";
    return "The response at " + kmh(speedKmh) + " is the one measured at " + kmh(lowerKmh)
           + ", the nearest" + (place.isHeld ? "; no measurement reaches that speed." : ".");
}

std::vector<double> mixedMagnitudeDb(std::span<const double> lowerDb,
                                     std::span<const double> upperDb, double mix)
{
    assert(lowerDb.size() == upperDb.size());
    std::vector<double> mixed(lowerDb.size());
    std::ranges::transform(lowerDb, upperDb, mixed.begin(), [mix](double lower, double upper) {
        return lower + mix * (upper - lower);
    });
    return mixed;
}

dsp::Result<void> saveSpeedVolume(const SpeedVolume& volume, const std::filesystem::path& file)
{
    auto gains = nlohmann::json::array();
    for (const SpeedGain& entry : volume.gains)
        gains.push_back({{"speedKmh", entry.speedKmh}, {"gainDb", entry.gainDb}});
    auto states = nlohmann::json::array();
    for (const SpeedState& entry : volume.states)
        states.push_back({{"speedKmh", entry.speedKmh}, {"stateFile", entry.stateFile}});
    const nlohmann::json json {
        {"kind", speedVolumeKind}, {"schemaVersion", speedVolumeSchemaVersion},
        {"name", volume.name},     {"volumeCourse", courseName(volume.volumeCourse)},
        {"gains", gains},          {"equaliserCourse", courseName(volume.equaliserCourse)},
        {"states", states}};
    return files::writeTextFile(file, files::jsonText(json));
}

dsp::Result<SpeedVolume> loadSpeedVolume(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(speedVolumeKind, speedVolumeSchemaVersion);
    SpeedVolume volume;
    volume.name = reader.text("name", "");
    volume.volumeCourse = readCourse(reader, "volumeCourse");
    volume.equaliserCourse = readCourse(reader, "equaliserCourse");
    for (files::JsonReader& entry : reader.objects("gains")) {
        volume.gains.push_back(
            {entry.number("speedKmh", 0.0, highestSpeedKmh), entry.number("gainDb", -60.0, 60.0)});
        reader.absorb(entry);
    }
    for (files::JsonReader& entry : reader.objects("states")) {
        volume.states.push_back(
            {entry.number("speedKmh", 0.0, highestSpeedKmh), entry.text("stateFile")});
        if (!entry.failure() && volume.states.back().stateFile.empty())
            entry.reject("stateFile", "is empty, but must name a STATE.json");
        reader.absorb(entry);
    }
    expectAscending(reader, "gains", volume.gains);
    expectAscending(reader, "states", volume.states);
    if (!reader.failure() && volume.gains.empty() && volume.states.empty())
        reader.reject("gains", "is empty, and so is states; give the gain at two speeds or more");
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return volume;
}

} // namespace saddletone::ride
