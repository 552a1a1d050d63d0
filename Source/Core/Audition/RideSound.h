#pragma once

#include "Core/Dsp/ModelFigure.h"
#include "Core/Hearing/ThirdOctaveSpectrum.h"
#include "Core/Ride/RecordedNoise.h"
#include "Core/Ride/RideLevels.h"
#include "Core/Ride/RideParameters.h"

#include <array>
#include <memory>
#include <string_view>
#include <vector>

namespace saddletone::audition {

/** When the engine is heard. A bike that rides has it running unless it is turned off here. */
enum class EngineNoise { whenRiding, alsoParked, off };

inline constexpr std::array allEngineNoises {EngineNoise::whenRiding, EngineNoise::alsoParked,
                                             EngineNoise::off};

/** The word used in files and on the command line: riding, parked, off. */
[[nodiscard]] std::string_view engineNoiseName(EngineNoise noise) noexcept;
[[nodiscard]] dsp::Result<EngineNoise> parseEngineNoise(std::string_view name);

/** What of a ride is changed while it is heard. */
struct RideChoice {
    double speedKmh = 0.0; ///< 0 to 250.
    ride::Screen screen = ride::Screen::none;
    ride::EarPlugs earPlugs = ride::EarPlugs::none;
    EngineNoise engine = EngineNoise::whenRiding;

    bool operator==(const RideChoice&) const = default;
};

/** What of a ride belongs to a scene: the bike, the helmet, the models, or recordings in their
    place. */
struct SceneRide {
    /** speedKmh, screen, earPlugs and engineState are the listener's: see RideChoice. */
    ride::RideParameters parameters;
    /** Noise recorded at the rider's head, heard in place of the modelled; null: modelled. Helmet,
        screen and engine are in it as they were. */
    std::shared_ptr<const ride::RecordedNoise> recorded;
    double recordedSplAtFullScaleDb = 0.0; ///< Of the recordings; see makeSceneRide().

    bool operator==(const SceneRide&) const = default;
};

/** A ride with recordings. If they are not calibrated, the slowest above standstill is taken to be
    as loud as the modelled ride at its speed: an estimate. */
[[nodiscard]] SceneRide makeSceneRide(const ride::RideParameters& parameters,
                                      std::shared_ptr<const ride::RecordedNoise> recorded);

/** Whether the level of the noise was measured: a calibrated recording. */
[[nodiscard]] bool isNoiseMeasured(const SceneRide& sceneRide) noexcept;

/** The parameters of the modelled ride with the listener's choice, within range. */
[[nodiscard]] ride::RideParameters rideOf(const SceneRide& sceneRide,
                                          const RideChoice& choice) noexcept;

/** Levels at the ear inside helmet and plugs; of recorded noise only the total is known. Bounded
    and without allocation. */
[[nodiscard]] ride::RideLevels noiseLevels(const SceneRide& sceneRide,
                                           const RideChoice& choice) noexcept;

/** What plugs take from everything that is heard. */
[[nodiscard]] double plugLossDb(const SceneRide& sceneRide, const RideChoice& choice) noexcept;

/** Third octaves of the noise at the ear inside the helmet, before plugs, in dB SPL. */
[[nodiscard]] hearing::ThirdOctaveSpectrum noiseSpectrum(const SceneRide& sceneRide,
                                                         const RideChoice& choice);

/** Every figure that the noise rests on, with its status and source. */
[[nodiscard]] std::vector<dsp::ModelFigure> noiseFigures(const SceneRide& sceneRide,
                                                         const RideChoice& choice);

} // namespace saddletone::audition
