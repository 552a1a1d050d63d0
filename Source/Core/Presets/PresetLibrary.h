#pragma once

#include "Core/Dsp/Result.h"

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::presets {

/** What a preset is of; each kind has a folder of its own. */
enum class PresetKind { target, ride, helmet, headphone, tuning, speaker, toneControls };

inline constexpr std::array allPresetKinds {
    PresetKind::target, PresetKind::ride,    PresetKind::helmet,      PresetKind::headphone,
    PresetKind::tuning, PresetKind::speaker, PresetKind::toneControls};

/** The word on the command line: "tone-controls". */
[[nodiscard]] std::string_view presetKindName(PresetKind kind) noexcept;
/** Its folder within the presets: "ToneControls". */
[[nodiscard]] std::string_view presetFolderName(PresetKind kind) noexcept;
[[nodiscard]] dsp::Result<PresetKind> parsePresetKind(std::string_view name);

/** How far a preset's figures can be relied upon. */
enum class PresetStatus {
    measured,
    published, ///< Read in a source, which is named.
    judgement, ///< An engineering choice.
    invented   ///< No thing that exists has these figures.
};

[[nodiscard]] std::string_view presetStatusName(PresetStatus status) noexcept;

/** A preset and what is to be said of it. */
struct Preset {
    PresetKind kind = PresetKind::target;
    std::string id; ///< Its file's name without the ending; it is chosen by this.
    std::string name;
    std::string description;
    PresetStatus status = PresetStatus::judgement;
    std::string source; ///< Never empty for measured and published.
    /** What is given where a file is expected: the preset itself, or of headphones their table. */
    std::filesystem::path file;
};

/** Reads and checks one preset file, with the loading function that reads its kind anywhere else.
    Stricter than that: a key that does nothing is refused, and "about" has to say what it is. */
[[nodiscard]] dsp::Result<Preset> readPreset(PresetKind kind, const std::filesystem::path& file);

/** The presets of a folder, by kind and name; those that cannot be read are named in problems. */
struct PresetList {
    std::vector<Preset> presets;
    std::vector<std::string> problems;
};
[[nodiscard]] PresetList listPresets(const std::filesystem::path& folder);

/** The preset of a kind and id; fails with the ids that there are. */
[[nodiscard]] dsp::Result<Preset> findPreset(const std::filesystem::path& folder, PresetKind kind,
                                             std::string_view id);

/** The folder of the presets that came with a program: ../share/saddletone/Presets, Presets beside
    it or, on macOS, in ../Resources, and else Presets in a folder above, which is where a program
    lies that was built in its source tree. None: there is no such folder. */
[[nodiscard]] std::optional<std::filesystem::path>
findPresetsFolder(const std::filesystem::path& executable);

} // namespace saddletone::presets
