#pragma once

#include "Core/Ride/Drivetrain.h"
#include "Core/Ride/EarPlugs.h"
#include "Core/Ride/EngineModel.h"
#include "Core/Ride/Helmet.h"
#include "Core/Ride/Screen.h"
#include "Core/Ride/TyreModel.h"
#include "Core/Ride/WindModel.h"

#include <cstddef>

namespace saddletone::ride {

enum class EngineState { off, running };

/** Everything that decides how a ride sounds at the rider's ears. */
struct RideParameters {
    double speedKmh = 0.0;    ///< 0 to 300.
    std::size_t gear = 0;     ///< 0: the one a rider cruises in.
    double measuredRpm = 0.0; ///< 0: from speed and gear; else up to 20000.
    EngineState engineState = EngineState::running;
    Helmet helmet = Helmet::fullFace;
    EarPlugs earPlugs = EarPlugs::none;
    Screen screen = Screen::none;

    WindModel wind;
    TyreModel tyre;
    EngineModel engine;
    Drivetrain drivetrain;
    EarPlugModel plugs;

    // Against the truth, for listening to parts; dsp::silenceDb is off.
    double windTrimDb = 0.0;
    double tyreTrimDb = 0.0;
    double engineTrimDb = 0.0;

    bool operator==(const RideParameters&) const = default;
};

/** The same with every number within its range; what is not a number becomes its default. */
[[nodiscard]] RideParameters withinRange(const RideParameters& parameters) noexcept;

/** What follows from parameters that are within range. Levels in dB(A) SPL with trims: wind as at
    the ear under the helmet, tyre and engine at the head before its loss, all before plugs. */
struct RideState {
    std::size_t gear = 1;
    double rpm = 0.0;
    double windDba = 0.0;
    double tyreDba = 0.0;
    double engineDba = 0.0;
    double treadToneHz = 0.0;
    double treadToneDba = 0.0; ///< dsp::silenceDb where it is off.
    double wakeDepthDb = 0.0;  ///< 0 without a low screen.
    double plugLossDb = 0.0;

    bool operator==(const RideState&) const = default;
};

[[nodiscard]] RideState rideState(const RideParameters& parameters) noexcept;

} // namespace saddletone::ride
