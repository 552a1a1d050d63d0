#include "Core/Presets/RidePreset.h"

#include "Core/Files/JsonReader.h"

#include <nlohmann/json.hpp>

namespace saddletone::presets {

namespace {

constexpr int ridePresetSchemaVersion = 1;
constexpr std::string_view ridePresetKind = "saddletone-ride";

/** Reads a word of a list; an unknown one is rejected with the choices. */
template <typename Choice, typename Parse>
void readChoice(files::JsonReader& reader, std::string_view key, Parse&& parse, Choice& choice)
{
    const auto parsed = parse(reader.text(key));
    if (parsed)
        choice = *parsed;
    else
        reader.reject(key, "is not known: " + parsed.error().message);
}

} // namespace

nlohmann::json ridePresetToJson(const RidePreset& preset)
{
    nlohmann::json json {{"kind", ridePresetKind},
                         {"schemaVersion", ridePresetSchemaVersion},
                         {"name", preset.name},
                         {"speedKmh", preset.speedKmh},
                         {"helmet", ride::helmetName(preset.helmet)},
                         {"screen", ride::screenName(preset.screen)},
                         {"earPlugs", ride::earPlugsName(preset.earPlugs)},
                         {"engineNoise", audition::engineNoiseName(preset.engineNoise)}};
    if (preset.publishedWindDba)
        json["publishedWindDba"] = *preset.publishedWindDba;
    return json;
}

dsp::Result<RidePreset> ridePresetFromJson(const nlohmann::json& json, std::string_view source)
{
    files::JsonReader reader(json, std::string(source));
    reader.expectKind(ridePresetKind, ridePresetSchemaVersion);
    RidePreset preset;
    preset.name = reader.text("name");
    preset.speedKmh = reader.number("speedKmh", 0.0, 250.0);
    readChoice(reader, "helmet", ride::parseHelmet, preset.helmet);
    readChoice(reader, "screen", ride::parseScreen, preset.screen);
    readChoice(reader, "earPlugs", ride::parseEarPlugs, preset.earPlugs);
    readChoice(reader, "engineNoise", audition::parseEngineNoise, preset.engineNoise);
    if (reader.has("publishedWindDba"))
        preset.publishedWindDba = reader.number("publishedWindDba", 40.0, 140.0);
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return preset;
}

dsp::Result<RidePreset> loadRidePreset(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    return ridePresetFromJson(*json, file.string());
}

} // namespace saddletone::presets
