#include "CommandLine/PresetOptions.h"

#include "Core/Platform/Platform.h"

#include <string_view>

namespace saddletone::commandline {

namespace {

constexpr std::string_view presetMark = "preset:";

/** Puts the file of a preset in the place of its name; says what is wrong, or nothing. */
std::string putFile(presets::PresetKind kind, std::string& argument)
{
    const auto folder = presetsFolder();
    if (!folder)
        return folder.error().message;
    const auto preset = presets::findPreset(
        *folder, kind,
        argument.substr(argument.starts_with(presetMark) ? presetMark.size() : std::size_t {0}));
    if (!preset)
        return preset.error().message;
    argument = preset->file.string();
    return {};
}

} // namespace

dsp::Result<std::filesystem::path> presetsFolder()
{
    const auto folder = presets::findPresetsFolder(platform::executableFile());
    if (!folder)
        return dsp::fail(dsp::ErrorCode::notFound,
                         "no presets were found beside the program; they are installed in "
                         "share/saddletone/Presets, or name their folder with --folder");
    return *folder;
}

CLI::Validator fileOrPreset(presets::PresetKind kind)
{
    return CLI::Validator(
        [kind](std::string& argument) -> std::string {
            return argument.starts_with(presetMark) ? putFile(kind, argument) : std::string();
        },
        "FILE or preset:NAME");
}

CLI::Validator presetName(presets::PresetKind kind)
{
    return CLI::Validator(
        [kind](std::string& argument) -> std::string {
            return argument.ends_with(".json") ? std::string() : putFile(kind, argument);
        },
        "NAME or FILE");
}

} // namespace saddletone::commandline
