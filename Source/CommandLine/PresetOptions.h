#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Presets/PresetLibrary.h"

#include <filesystem>
#include <string>

#include <CLI/CLI.hpp>

namespace saddletone::commandline {

/** The folder of the presets that came with the program; fails with where it should be. */
[[nodiscard]] dsp::Result<std::filesystem::path> presetsFolder();

/** Lets an option that names a file take "preset:NAME" as well, and puts the preset's file in its
    place. */
[[nodiscard]] CLI::Validator fileOrPreset(presets::PresetKind kind);

/** Lets an option that names a preset take its name, with or without "preset:", or a JSON file. */
[[nodiscard]] CLI::Validator presetName(presets::PresetKind kind);

} // namespace saddletone::commandline
