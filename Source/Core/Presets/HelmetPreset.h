#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Ride/Helmet.h"

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::presets {

/** One octave of what a helmet takes, and where the figure comes from. */
struct HelmetLoss {
    double frequencyHz = 0.0;
    double insertionLossDb = 0.0; ///< Negative = the helmet amplifies.
    std::string status;           ///< published or judgement.

    bool operator==(const HelmetLoss&) const = default;
};

/** A helmet that the ride knows, described: its figures octave by octave with their status. */
struct HelmetPreset {
    std::string name;
    ride::Helmet helmet = ride::Helmet::none;
    std::vector<HelmetLoss> losses; ///< One an octave of ride::octaveCentresHz().
};

/** Kind "saddletone-helmet". */
[[nodiscard]] nlohmann::json helmetPresetToJson(const HelmetPreset& preset);

/** Refused besides what is malformed: a figure that is not the one that auditions use, as it would
    be read and not heard. */
[[nodiscard]] dsp::Result<HelmetPreset> helmetPresetFromJson(const nlohmann::json& json,
                                                             std::string_view source);

[[nodiscard]] dsp::Result<HelmetPreset> loadHelmetPreset(const std::filesystem::path& file);

} // namespace saddletone::presets
