#include "Core/Audition/RideSound.h"

#include "Core/Hearing/Audibility.h"
#include "Core/Ride/RideFigures.h"

#include <algorithm>
#include <string>

namespace saddletone::audition {

std::string_view engineNoiseName(EngineNoise noise) noexcept
{
    switch (noise) {
    case EngineNoise::alsoParked: return "parked";
    case EngineNoise::off: return "off";
    case EngineNoise::whenRiding: break;
    }
    return "riding";
}

dsp::Result<EngineNoise> parseEngineNoise(std::string_view name)
{
    for (const EngineNoise noise : allEngineNoises)
        if (engineNoiseName(noise) == name)
            return noise;
    return dsp::fail(dsp::ErrorCode::malformed, "engine noise '" + std::string(name)
                                                    + "' is not known; use riding, parked or off");
}

SceneRide makeSceneRide(const ride::RideParameters& parameters,
                        std::shared_ptr<const ride::RecordedNoise> recorded)
{
    SceneRide made {parameters, std::move(recorded), 0.0};
    if (made.recorded == nullptr)
        return made;
    if (made.recorded->splAtFullScaleDb) {
        made.recordedSplAtFullScaleDb = *made.recorded->splAtFullScaleDb;
        return made;
    }
    const auto& recordings = made.recorded->recordings;
    auto slowest = std::ranges::find_if(
        recordings, [](const ride::NoiseRecording& each) { return each.state.speedKmh > 0.0; });
    if (slowest == recordings.end())
        slowest = recordings.begin();
    const ride::RideParameters modelled =
        rideOf({parameters, nullptr, 0.0}, {.speedKmh = slowest->state.speedKmh,
                                            .screen = parameters.screen,
                                            .engine = EngineNoise::alsoParked});
    made.recordedSplAtFullScaleDb =
        ride::rideLevels(modelled).totalDba - ride::levelDbfsA(slowest->state);
    return made;
}

bool isNoiseMeasured(const SceneRide& sceneRide) noexcept
{
    return sceneRide.recorded != nullptr && sceneRide.recorded->splAtFullScaleDb.has_value();
}

ride::RideParameters rideOf(const SceneRide& sceneRide, const RideChoice& choice) noexcept
{
    ride::RideParameters ride = sceneRide.parameters;
    ride.speedKmh = choice.speedKmh;
    ride.screen = choice.screen;
    ride.earPlugs = choice.earPlugs;
    const bool runs = choice.engine == EngineNoise::alsoParked
                      || (choice.engine == EngineNoise::whenRiding && choice.speedKmh > 0.0);
    ride.engineState = runs ? ride::EngineState::running : ride::EngineState::off;
    return ride::withinRange(ride);
}

double plugLossDb(const SceneRide& sceneRide, const RideChoice& choice) noexcept
{
    return sceneRide.parameters.plugs.lossDb(choice.earPlugs);
}

ride::RideLevels noiseLevels(const SceneRide& sceneRide, const RideChoice& choice) noexcept
{
    if (sceneRide.recorded == nullptr)
        return ride::rideLevels(rideOf(sceneRide, choice));
    ride::RideLevels levels;
    // Nobody records a bike that stands with its engine off to hear it.
    if (choice.speedKmh <= 0.0 && choice.engine != EngineNoise::alsoParked)
        return levels;
    ride::NoiseState state;
    sceneRide.recorded->stateAt(choice.speedKmh, state);
    levels.totalDba = ride::levelDbfsA(state) + sceneRide.recordedSplAtFullScaleDb
                      - plugLossDb(sceneRide, choice);
    return levels;
}

hearing::ThirdOctaveSpectrum noiseSpectrum(const SceneRide& sceneRide, const RideChoice& choice)
{
    if (sceneRide.recorded == nullptr)
        return hearing::rideNoiseSpectrum(rideOf(sceneRide, choice));
    hearing::ThirdOctaveSpectrum spectrum;
    if (choice.speedKmh <= 0.0 && choice.engine != EngineNoise::alsoParked)
        return spectrum;
    ride::NoiseState state;
    sceneRide.recorded->stateAt(choice.speedKmh, state);
    const auto left = ride::thirdOctaveLevelsDbfs(state, 0);
    const auto right = ride::thirdOctaveLevelsDbfs(state, 1);
    for (std::size_t band = 0; band < std::min(left.size(), spectrum.levelsDb.size()); ++band)
        if (std::max(left[band], right[band]) > dsp::silenceDb)
            spectrum.levelsDb[band] =
                dsp::powerToDb(0.5 * (dsp::dbToPower(left[band]) + dsp::dbToPower(right[band])))
                + sceneRide.recordedSplAtFullScaleDb;
    return spectrum;
}

std::vector<dsp::ModelFigure> noiseFigures(const SceneRide& sceneRide, const RideChoice& choice)
{
    if (sceneRide.recorded == nullptr)
        return ride::rideFigures(rideOf(sceneRide, choice));
    auto figures = sceneRide.recorded->figures();
    if (!isNoiseMeasured(sceneRide))
        figures.push_back({"level of the recordings", "as loud as the modelled ride",
                           dsp::FigureStatus::judgement,
                           "the recordings are not calibrated; record a calibrator"});
    return figures;
}

} // namespace saddletone::audition
