#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/Verbs.h"

#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using Outcome = std::variant<Output, Failure>;

struct PresetsOptions {
    std::string kind;
    std::string folder;
};

Outcome runPresets(const PresetsOptions& options)
{
    std::optional<presets::PresetKind> kind;
    if (!options.kind.empty()) {
        const auto parsed = presets::parsePresetKind(options.kind);
        if (!parsed)
            return usageFailure(parsed.error().message);
        kind = *parsed;
    }
    std::filesystem::path folder = options.folder;
    if (folder.empty()) {
        const auto found = presetsFolder();
        if (!found)
            return inputFailure(found.error());
        folder = *found;
    }
    const presets::PresetList list = presets::listPresets(folder);
    if (!list.problems.empty()) {
        std::string message = std::to_string(list.problems.size()) + " preset(s) cannot be used:";
        for (const std::string& problem : list.problems)
            message += "\n  " + problem;
        return Failure {ExitCode::notGoodEnough, message};
    }
    Output output;
    output.json = {{"folder", folder.string()}, {"presets", nlohmann::json::array()}};
    std::optional<presets::PresetKind> lastKind;
    for (const presets::Preset& preset : list.presets) {
        if (kind && preset.kind != *kind)
            continue;
        const std::string kindName(presets::presetKindName(preset.kind));
        const std::string status(presets::presetStatusName(preset.status));
        if (lastKind != preset.kind)
            output.text += (output.text.empty() ? "" : "\n") + kindName + "\n";
        lastKind = preset.kind;
        output.text += "  " + preset.id + ": " + preset.name + "\n    " + preset.description
                       + "\n    " + status + (preset.source.empty() ? "" : ": " + preset.source)
                       + "\n";
        output.json["presets"].push_back({{"kind", kindName},
                                          {"id", preset.id},
                                          {"name", preset.name},
                                          {"description", preset.description},
                                          {"status", status},
                                          {"source", preset.source},
                                          {"file", preset.file.string()}});
    }
    if (output.text.empty())
        return Failure {ExitCode::notGoodEnough,
                        "'" + folder.string() + "' has no presets"
                            + (kind ? " of the kind " + options.kind : std::string())};
    output.text += "\nWhere a file is asked for, preset:NAME does as well: --target preset:flat\n";
    return output;
}

} // namespace

void addPresetsVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<PresetsOptions>();
    CLI::App* verb =
        addVerb(app, "presets",
                "List what targets, rides, helmets, headphones, tunings, speakers and tone "
                "controls there are to begin with");
    addOption(*verb, "--kind", options->kind,
              "target, ride, helmet, headphone, tuning, speaker or tone-controls");
    addOption(*verb, "--folder", options->folder,
              "A folder of presets, in place of the one that came with the program");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runPresets(*options); }; });
}

} // namespace saddletone::commandline
