#pragma once

#include "Core/Audition/RideSound.h"
#include "Core/Dsp/Result.h"

#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <nlohmann/json_fwd.hpp>

namespace saddletone::commandline {

/** The options that describe a ride, alike in every verb that has one. */
struct RideOptions {
    double speedKmh = 0.0;
    double speedMph = 0.0;
    const CLI::Option* mphOption = nullptr;
    const CLI::Option* kmhOption = nullptr;
    std::size_t gear = 0;
    double rpm = 0.0;
    std::string helmet = "full";
    std::string screen = "none";
    double tallScreen = -10.0;
    std::string engine = "v-twin-45";
    std::string bike = "touring-twin";
    std::vector<double> firing;
    std::string recordedNoise;
    bool runsParked = false;

    [[nodiscard]] bool hasSpeed() const { return mphOption->count() + kmhOption->count() > 0; }
    [[nodiscard]] double speed() const; ///< km/h.
    /** When the engine is heard. */
    [[nodiscard]] audition::EngineNoise engineNoise() const;
    /** The ride with its speed, screen and engine; plugs are the verb's. */
    [[nodiscard]] dsp::Result<ride::RideParameters> parameters() const;
};

/** Adds them to a verb; options must outlive it. highestKmh: of the speed. */
void addRideOptions(CLI::App& verb, RideOptions& options, double highestKmh);

/** Adds what a verb has that can take recordings in place of the model. */
void addNoiseOptions(CLI::App& verb, RideOptions& options);

/** The ride of options with the recordings that they name. */
[[nodiscard]] dsp::Result<audition::SceneRide> sceneRideFrom(const RideOptions& options,
                                                             const ride::RideParameters& ride);

/** A level; null for silence. */
[[nodiscard]] nlohmann::json levelOrNull(double levelDb);

[[nodiscard]] nlohmann::json figuresJson(const std::vector<dsp::ModelFigure>& figures);

} // namespace saddletone::commandline
