#include "Core/Ride/RideParameters.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>

namespace saddletone::ride {

namespace {

void keepWithin(double& value, double lowest, double highest, double otherwise) noexcept
{
    value = std::isnan(value) ? otherwise : std::clamp(value, lowest, highest);
}

/** A level plus a trim; nothing stays nothing. */
double trimmed(double levelDb, double trimDb) noexcept
{
    return std::max(dsp::silenceDb, levelDb + trimDb);
}

} // namespace

RideParameters withinRange(const RideParameters& parameters) noexcept
{
    constexpr RideParameters defaults;
    RideParameters result = parameters;
    keepWithin(result.speedKmh, 0.0, 300.0, defaults.speedKmh);
    keepWithin(result.measuredRpm, 0.0, 20000.0, defaults.measuredRpm);

    WindModel& wind = result.wind;
    keepWithin(wind.anchorDba, 0.0, 140.0, defaults.wind.anchorDba);
    keepWithin(wind.anchorSpeedKmh, 1.0, 300.0, defaults.wind.anchorSpeedKmh);
    keepWithin(wind.slopeDbPerDecade, 0.0, 100.0, defaults.wind.slopeDbPerDecade);
    keepWithin(wind.openFaceOffsetDb, -40.0, 40.0, defaults.wind.openFaceOffsetDb);
    keepWithin(wind.bareHeadOffsetDb, -40.0, 40.0, defaults.wind.bareHeadOffsetDb);
    keepWithin(wind.lowScreenOffsetDb, -20.0, 20.0, defaults.wind.lowScreenOffsetDb);
    keepWithin(wind.tallScreenOffsetDb, -15.0, -4.0, defaults.wind.tallScreenOffsetDb);
    keepWithin(wind.wakeDepthDb, 0.0, 12.0, defaults.wind.wakeDepthDb);
    keepWithin(wind.gustDeviationDb, 0.0, 6.0, defaults.wind.gustDeviationDb);
    keepWithin(wind.gustTimeSeconds, 0.5, 60.0, defaults.wind.gustTimeSeconds);
    keepWithin(wind.coherenceDecay, 0.0, 10.0, defaults.wind.coherenceDecay);
    keepWithin(wind.earSpacingMetres, 0.01, 1.0, defaults.wind.earSpacingMetres);
    keepWithin(wind.convectionRatio, 0.1, 1.0, defaults.wind.convectionRatio);

    TyreModel& tyre = result.tyre;
    keepWithin(tyre.anchorDba, 0.0, 140.0, defaults.tyre.anchorDba);
    keepWithin(tyre.anchorSpeedKmh, 1.0, 300.0, defaults.tyre.anchorSpeedKmh);
    keepWithin(tyre.slopeDbPerDecade, 0.0, 100.0, defaults.tyre.slopeDbPerDecade);
    keepWithin(tyre.treadPitchMetres, 0.005, 0.2, defaults.tyre.treadPitchMetres);
    keepWithin(tyre.treadToneDb, -60.0, 20.0, defaults.tyre.treadToneDb);

    EngineModel& engine = result.engine;
    if (engine.firing.numCylinders < 1 || engine.firing.numCylinders > FiringPattern::maxCylinders)
        engine.firing = defaults.engine.firing;
    for (double& angle : engine.firing.anglesDegrees)
        keepWithin(angle, 0.0, FiringPattern::degreesPerCycle, 0.0);
    keepWithin(engine.cruiseDba, 0.0, 140.0, defaults.engine.cruiseDba);
    keepWithin(engine.cruiseSpeedKmh, 1.0, 300.0, defaults.engine.cruiseSpeedKmh);
    keepWithin(engine.slopeDbPerDecade, 0.0, 100.0, defaults.engine.slopeDbPerDecade);
    keepWithin(engine.idleRpm, 200.0, 3000.0, defaults.engine.idleRpm);
    keepWithin(engine.idleDba, 0.0, 140.0, defaults.engine.idleDba);
    keepWithin(engine.pulseCornerOrder, 0.5, 64.0, defaults.engine.pulseCornerOrder);
    keepWithin(engine.amplitudeJitter, 0.0, 0.3, defaults.engine.amplitudeJitter);
    keepWithin(engine.timingJitterDegrees, 0.0, 3.0, defaults.engine.timingJitterDegrees);

    Drivetrain& drivetrain = result.drivetrain;
    if (drivetrain.numGears < 1 || drivetrain.numGears > Drivetrain::maxGears)
        drivetrain = defaults.drivetrain;
    keepWithin(drivetrain.primaryRatio, 0.1, 20.0, defaults.drivetrain.primaryRatio);
    for (std::size_t gear = 0; gear < drivetrain.numGears; ++gear)
        keepWithin(drivetrain.gearRatios[gear], 0.1, 20.0, 1.0);
    keepWithin(drivetrain.finalRatio, 0.1, 20.0, defaults.drivetrain.finalRatio);
    keepWithin(drivetrain.tyreRadiusMetres, 0.1, 1.0, defaults.drivetrain.tyreRadiusMetres);
    keepWithin(drivetrain.lowestCruiseRpm, 200.0, 20000.0, defaults.drivetrain.lowestCruiseRpm);
    result.gear = std::min(result.gear, drivetrain.numGears);

    keepWithin(result.plugs.nominalLossDb, 0.0, 60.0, defaults.plugs.nominalLossDb);
    keepWithin(result.plugs.cautiousLossDb, 0.0, 60.0, defaults.plugs.cautiousLossDb);
    for (double* trim : {&result.windTrimDb, &result.tyreTrimDb, &result.engineTrimDb})
        keepWithin(*trim, dsp::silenceDb, 40.0, 0.0);
    return result;
}

RideState rideState(const RideParameters& parameters) noexcept
{
    const EngineModel& engine = parameters.engine;
    const Drivetrain& drivetrain = parameters.drivetrain;
    const double speedKmh = parameters.speedKmh;
    RideState state;
    state.windDba =
        trimmed(parameters.wind.levelDba(speedKmh, parameters.helmet, parameters.screen),
                parameters.windTrimDb);
    state.tyreDba = trimmed(parameters.tyre.levelDba(speedKmh), parameters.tyreTrimDb);
    state.treadToneHz = parameters.tyre.treadToneHz(speedKmh);
    state.treadToneDba = parameters.tyre.treadToneIsOn
                             ? trimmed(state.tyreDba, parameters.tyre.treadToneDb)
                             : dsp::silenceDb;
    state.wakeDepthDb = parameters.screen == Screen::low ? parameters.wind.wakeDepthDb : 0.0;
    state.plugLossDb = parameters.plugs.lossDb(parameters.earPlugs);

    state.gear = parameters.gear != 0 ? parameters.gear : drivetrain.cruiseGear(speedKmh);
    // Below idle the clutch slips.
    state.rpm = parameters.measuredRpm > 0.0
                    ? parameters.measuredRpm
                    : std::max(engine.idleRpm, drivetrain.rpmAt(speedKmh, state.gear));
    if (parameters.engineState == EngineState::off) {
        state.engineDba = dsp::silenceDb;
    } else if (speedKmh > 0.0) {
        const double cruiseRpm =
            drivetrain.rpmAt(engine.cruiseSpeedKmh, drivetrain.cruiseGear(engine.cruiseSpeedKmh));
        state.engineDba = trimmed(engine.levelDba(state.rpm, cruiseRpm), parameters.engineTrimDb);
    } else {
        state.engineDba = trimmed(
            engine.idleDba + engine.slopeDbPerDecade * std::log10(state.rpm / engine.idleRpm),
            parameters.engineTrimDb);
    }
    return state;
}

} // namespace saddletone::ride
