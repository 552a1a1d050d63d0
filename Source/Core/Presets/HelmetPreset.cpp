#include "Core/Presets/HelmetPreset.h"

#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"

#include <cmath>

#include <nlohmann/json.hpp>

namespace saddletone::presets {

namespace {

constexpr int helmetPresetSchemaVersion = 1;
constexpr std::string_view helmetPresetKind = "saddletone-helmet";

HelmetLoss lossFromJson(files::JsonReader& reader, ride::Helmet helmet)
{
    HelmetLoss loss;
    loss.frequencyHz = reader.number("frequencyHz", 20.0, 20000.0);
    loss.insertionLossDb = reader.number("insertionLossDb", -20.0, 60.0);
    loss.status = reader.text("status");
    if (reader.failure())
        return loss;
    if (loss.status != "published" && loss.status != "judgement")
        reader.reject("status", "is '" + loss.status + "', but must be published or judgement");
    const double usedDb = ride::insertionLossDb(helmet, loss.frequencyHz);
    constexpr double roundingDb = 0.05;
    if (std::abs(loss.insertionLossDb - usedDb) > roundingDb)
        reader.reject("insertionLossDb", "is " + files::fixedText(loss.insertionLossDb, 1)
                                             + ", but auditions use " + files::fixedText(usedDb, 1)
                                             + " dB at " + files::fixedText(loss.frequencyHz, 1)
                                             + " Hz for the helmet '"
                                             + std::string(ride::helmetName(helmet)) + "'");
    return loss;
}

} // namespace

nlohmann::json helmetPresetToJson(const HelmetPreset& preset)
{
    nlohmann::json losses = nlohmann::json::array();
    for (const HelmetLoss& loss : preset.losses)
        losses.push_back({{"frequencyHz", loss.frequencyHz},
                          {"insertionLossDb", loss.insertionLossDb},
                          {"status", loss.status}});
    return {{"kind", helmetPresetKind},
            {"schemaVersion", helmetPresetSchemaVersion},
            {"name", preset.name},
            {"helmet", ride::helmetName(preset.helmet)},
            {"losses", std::move(losses)}};
}

dsp::Result<HelmetPreset> helmetPresetFromJson(const nlohmann::json& json, std::string_view source)
{
    files::JsonReader reader(json, std::string(source));
    reader.expectKind(helmetPresetKind, helmetPresetSchemaVersion);
    HelmetPreset preset;
    preset.name = reader.text("name");
    if (const auto helmet = ride::parseHelmet(reader.text("helmet")))
        preset.helmet = *helmet;
    else
        reader.reject("helmet", "is not known: " + helmet.error().message);
    for (auto& entry : reader.objects("losses")) {
        preset.losses.push_back(lossFromJson(entry, preset.helmet));
        reader.absorb(entry);
    }
    if (!reader.failure() && preset.losses.size() != ride::octaveCentresHz().size())
        reader.reject("losses", "has " + std::to_string(preset.losses.size())
                                    + " entries, but must have one for each octave from 31.5 Hz to "
                                      "8 kHz");
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return preset;
}

dsp::Result<HelmetPreset> loadHelmetPreset(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    return helmetPresetFromJson(*json, file.string());
}

} // namespace saddletone::presets
