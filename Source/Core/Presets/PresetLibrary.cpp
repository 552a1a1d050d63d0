#include "Core/Presets/PresetLibrary.h"

#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"
#include "Core/Presets/HelmetPreset.h"
#include "Core/Presets/RidePreset.h"
#include "Core/Seat/HeadphoneCorrection.h"
#include "Core/Tuning/FitTarget.h"
#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/ToneControls.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <cctype>
#include <system_error>

#include <nlohmann/json.hpp>

namespace saddletone::presets {

namespace {

struct KindWords {
    PresetKind kind;
    std::string_view name;
    std::string_view folder;
};

constexpr std::array kindTable {
    KindWords {PresetKind::target, "target", "Targets"},
    KindWords {PresetKind::ride, "ride", "Rides"},
    KindWords {PresetKind::helmet, "helmet", "Helmets"},
    KindWords {PresetKind::headphone, "headphone", "Headphones"},
    KindWords {PresetKind::tuning, "tuning", "Tunings"},
    KindWords {PresetKind::speaker, "speaker", "Speakers"},
    KindWords {PresetKind::toneControls, "tone-controls", "ToneControls"}};

constexpr std::array allStatuses {PresetStatus::measured, PresetStatus::published,
                                  PresetStatus::judgement, PresetStatus::invented};

constexpr int headphonePresetSchemaVersion = 1;
constexpr std::string_view headphonePresetKind = "saddletone-headphone";

/** What a preset's file holds as this program would write it, and what is used in its place. */
struct ReadFile {
    nlohmann::json written;
    std::string name;
    std::filesystem::path file;
};

/** A headphone's description: its response is a table beside it, as measurements come. */
dsp::Result<ReadFile> readHeadphone(const nlohmann::json& json, const std::filesystem::path& file)
{
    files::JsonReader reader(json, file.string());
    reader.expectKind(headphonePresetKind, headphonePresetSchemaVersion);
    const std::string name = reader.text("name");
    const std::string tableName = reader.text("responseFile");
    if (!reader.failure() && std::filesystem::path(tableName).filename().string() != tableName)
        reader.reject("responseFile",
                      "must be the name of a file beside this one, without folders");
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    const auto table = file.parent_path() / tableName;
    if (const auto correction = seat::loadHeadphoneCorrection(table, {}, {}); !correction)
        return dsp::fail(correction.error().code,
                         "'" + file.string() + "': " + correction.error().message);
    return ReadFile {{{"kind", headphonePresetKind},
                      {"schemaVersion", headphonePresetSchemaVersion},
                      {"name", name},
                      {"responseFile", tableName}},
                     name,
                     table};
}

/** A value that a loader gave, written again. */
template <typename Value, typename Write>
dsp::Result<ReadFile> writtenAgain(const dsp::Result<Value>& value, Write&& write,
                                   const std::filesystem::path& file)
{
    if (!value)
        return value.unexpected();
    return ReadFile {write(*value), value->name, file};
}

dsp::Result<ReadFile> readFile(PresetKind kind, const nlohmann::json& json,
                               const std::filesystem::path& file)
{
    switch (kind) {
    case PresetKind::ride: return writtenAgain(loadRidePreset(file), ridePresetToJson, file);
    case PresetKind::helmet: return writtenAgain(loadHelmetPreset(file), helmetPresetToJson, file);
    case PresetKind::headphone: return readHeadphone(json, file);
    case PresetKind::tuning:
        return writtenAgain(tuning::loadTuning(file), tuning::tuningToJson, file);
    case PresetKind::speaker:
        return writtenAgain(tuning::loadSpeaker(file), tuning::speakerToJson, file);
    case PresetKind::toneControls:
        return writtenAgain(tuning::loadToneControls(file), tuning::toneControlsToJson, file);
    case PresetKind::target: break;
    }
    return writtenAgain(tuning::loadTarget(file), tuning::targetToJson, file);
}

/** Keys that are read and not written again: a speaker may have another two of its three Qs. */
bool isOtherKey(PresetKind kind, const std::string& key)
{
    return kind == PresetKind::speaker && (key == "qms" || key == "qes");
}

/** The key that an unknown one was meant to be: the same with its unit. */
std::string hintFor(const std::string& key, const nlohmann::json& written)
{
    for (const auto& [known, value] : written.items())
        if (known.size() > key.size() && known.starts_with(key)
            && std::isupper(static_cast<unsigned char>(known[key.size()])) != 0)
            return "; write it with its unit, as '" + known + "'";
    return "; correct the name or take it out";
}

/** The first key, with its place, that is in a document and not in what was read out of it. */
std::optional<std::string> unknownKey(PresetKind kind, const nlohmann::json& document,
                                      const nlohmann::json& written, const std::string& place)
{
    if (document.is_array() && written.is_array()) {
        for (std::size_t index = 0; index < std::min(document.size(), written.size()); ++index)
            if (auto found = unknownKey(kind, document[index], written[index],
                                        place + "[" + std::to_string(index) + "]"))
                return found;
        return std::nullopt;
    }
    if (!document.is_object() || !written.is_object())
        return std::nullopt;
    for (const auto& [key, value] : document.items()) {
        std::string inner = place;
        if (!inner.empty())
            inner += '.';
        inner += key;
        const auto known = written.find(key);
        if (known == written.end()) {
            if (isOtherKey(kind, key))
                continue;
            return std::string("key '")
                .append(inner)
                .append("' is not known")
                .append(hintFor(key, written));
        }
        if (auto found = unknownKey(kind, value, *known, inner))
            return found;
    }
    return std::nullopt;
}

/** What a preset says of itself. */
dsp::Result<Preset> readAbout(const nlohmann::json& json, const std::filesystem::path& file)
{
    files::JsonReader reader(json, file.string());
    Preset preset;
    if (!reader.has("about"))
        reader.reject("about",
                      "is missing; say what the preset is: description, status and source");
    auto about = reader.object("about");
    preset.description = about.text("description");
    const std::string status = about.text("status");
    if (const auto found = std::ranges::find(allStatuses, status, presetStatusName);
        found != allStatuses.end())
        preset.status = *found;
    else
        about.reject("status",
                     "is '" + status + "', but must be measured, published, judgement or invented");
    preset.source = about.text("source", "");
    if (!about.failure() && preset.source.empty()
        && (preset.status == PresetStatus::measured || preset.status == PresetStatus::published))
        about.reject("source", "is missing, but a preset that is " + status + " has to name it");
    reader.absorb(about);
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return preset;
}

} // namespace

std::string_view presetKindName(PresetKind kind) noexcept
{
    return std::ranges::find(kindTable, kind, &KindWords::kind)->name;
}

std::string_view presetFolderName(PresetKind kind) noexcept
{
    return std::ranges::find(kindTable, kind, &KindWords::kind)->folder;
}

dsp::Result<PresetKind> parsePresetKind(std::string_view name)
{
    const auto found = std::ranges::find(kindTable, name, &KindWords::name);
    if (found != kindTable.end())
        return found->kind;
    std::string known;
    for (const KindWords& each : kindTable)
        known += (known.empty() ? "" : ", ") + std::string(each.name);
    return dsp::fail(dsp::ErrorCode::malformed, "there are no presets of the kind '"
                                                    + std::string(name) + "'; use one of " + known);
}

std::string_view presetStatusName(PresetStatus status) noexcept
{
    switch (status) {
    case PresetStatus::measured: return "measured";
    case PresetStatus::published: return "published";
    case PresetStatus::invented: return "invented";
    case PresetStatus::judgement: break;
    }
    return "judgement";
}

dsp::Result<Preset> readPreset(PresetKind kind, const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    auto read = readFile(kind, *json, file);
    if (!read)
        return read.unexpected();
    auto preset = readAbout(*json, file);
    if (!preset)
        return preset;
    read->written["about"] = {{"description", ""}, {"status", ""}, {"source", ""}};
    if (const auto unknown = unknownKey(kind, *json, read->written, ""))
        return dsp::fail(dsp::ErrorCode::unsupported, "'" + file.string() + "': " + *unknown);
    preset->kind = kind;
    preset->id = file.stem().string();
    preset->name = std::move(read->name);
    preset->file = std::move(read->file);
    return preset;
}

PresetList listPresets(const std::filesystem::path& folder)
{
    PresetList list;
    for (const PresetKind kind : allPresetKinds) {
        std::vector<std::filesystem::path> files;
        std::error_code missing;
        for (const auto& entry :
             std::filesystem::directory_iterator(folder / presetFolderName(kind), missing))
            if (entry.path().extension() == ".json")
                files.push_back(entry.path());
        std::ranges::sort(files);
        for (const std::filesystem::path& file : files) {
            auto preset = readPreset(kind, file);
            if (preset)
                list.presets.push_back(*std::move(preset));
            else
                list.problems.push_back(preset.error().message);
        }
    }
    return list;
}

dsp::Result<Preset> findPreset(const std::filesystem::path& folder, PresetKind kind,
                               std::string_view id)
{
    const auto file = folder / presetFolderName(kind) / (std::string(id) + ".json");
    std::error_code reason;
    // An id is a name and not a way to other folders.
    if (!id.empty() && file.parent_path() == folder / presetFolderName(kind)
        && std::filesystem::is_regular_file(file, reason))
        return readPreset(kind, file);
    std::string known;
    for (const Preset& preset : listPresets(folder).presets)
        if (preset.kind == kind)
            known += (known.empty() ? "" : ", ") + preset.id;
    return dsp::fail(dsp::ErrorCode::notFound, "there is no preset '" + std::string(id)
                                                   + "' of the kind "
                                                   + std::string(presetKindName(kind))
                                                   + (known.empty() ? "" : "; there are " + known));
}

std::optional<std::filesystem::path> findPresetsFolder(const std::filesystem::path& executable)
{
    const auto isPresets = [](const std::filesystem::path& folder) {
        std::error_code reason;
        return std::filesystem::is_directory(folder / presetFolderName(PresetKind::target), reason);
    };
    // Nothing is looked for from where the program was started.
    if (!executable.is_absolute())
        return std::nullopt;
    std::filesystem::path folder = executable.parent_path();
    for (const auto& installed :
         {folder.parent_path() / "share" / "saddletone" / "Presets", folder / "Presets",
          folder.parent_path() / "Resources" / "Presets"})
        if (isPresets(installed))
            return installed;
    constexpr int mostFoldersUp = 8;
    for (int level = 0; level < mostFoldersUp && folder.has_relative_path(); ++level) {
        folder = folder.parent_path();
        if (isPresets(folder / "Presets"))
            return folder / "Presets";
    }
    return std::nullopt;
}

} // namespace saddletone::presets
