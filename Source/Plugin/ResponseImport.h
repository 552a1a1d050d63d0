#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Files/AudioFile.h"
#include "Core/Measure/Response.h"
#include "Gui/BenchModel.h"

#include <filesystem>
#include <string>

namespace saddletone::plugin {

/** Reads what another instrument wrote, at 48 kHz where it is a table. Takes a while; ended by
    progress, it fails. */
[[nodiscard]] dsp::Result<measure::Response> importResponse(const std::filesystem::path& file,
                                                            gui::ImportKind kind,
                                                            const measure::BikeState& state,
                                                            const std::string& name,
                                                            const files::ReadProgress& progress);

} // namespace saddletone::plugin
