#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Tuning/Tuning.h"

#include <filesystem>
#include <string_view>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::tuning {

[[nodiscard]] nlohmann::json tuningToJson(const Tuning& tuning);
/** Reads schema version 1 and 2. source: named in error messages. */
[[nodiscard]] dsp::Result<Tuning> tuningFromJson(const nlohmann::json& json,
                                                 std::string_view source);

[[nodiscard]] dsp::Result<void> saveTuning(const Tuning& tuning, const std::filesystem::path& file);
[[nodiscard]] dsp::Result<Tuning> loadTuning(const std::filesystem::path& file);

} // namespace saddletone::tuning
