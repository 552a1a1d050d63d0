#pragma once

#include "Core/Audition/RideSound.h"
#include "Core/Dsp/Result.h"
#include "Core/Ride/EarPlugs.h"
#include "Core/Ride/Helmet.h"
#include "Core/Ride/Screen.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::presets {

/** A ride to begin with: what does not depend on the bike. */
struct RidePreset {
    std::string name;
    double speedKmh = 0.0; ///< 0 to 250.
    ride::Helmet helmet = ride::Helmet::fullFace;
    ride::Screen screen = ride::Screen::none;
    ride::EarPlugs earPlugs = ride::EarPlugs::none;
    audition::EngineNoise engineNoise = audition::EngineNoise::whenRiding;
    /** Wind at the ear that was published for such a ride, in dB(A); the preset's source is its. */
    std::optional<double> publishedWindDba;
};

/** Kind "saddletone-ride". */
[[nodiscard]] nlohmann::json ridePresetToJson(const RidePreset& preset);
[[nodiscard]] dsp::Result<RidePreset> ridePresetFromJson(const nlohmann::json& json,
                                                         std::string_view source);

[[nodiscard]] dsp::Result<RidePreset> loadRidePreset(const std::filesystem::path& file);

} // namespace saddletone::presets
