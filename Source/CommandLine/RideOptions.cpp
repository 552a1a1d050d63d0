#include "CommandLine/RideOptions.h"

#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"

#include "Core/Dsp/Units.h"

#include <cmath>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

double RideOptions::speed() const
{
    return mphOption->count() > 0 ? dsp::mphToKmh(speedMph) : speedKmh;
}

audition::EngineNoise RideOptions::engineNoise() const
{
    if (engine == "off")
        return audition::EngineNoise::off;
    return runsParked ? audition::EngineNoise::alsoParked : audition::EngineNoise::whenRiding;
}

dsp::Result<ride::RideParameters> RideOptions::parameters() const
{
    ride::RideParameters parameters;
    parameters.speedKmh = speed();
    parameters.gear = gear;
    parameters.measuredRpm = rpm;
    const auto parsedHelmet = ride::parseHelmet(helmet);
    if (!parsedHelmet)
        return parsedHelmet.unexpected();
    parameters.helmet = *parsedHelmet;
    const auto parsedScreen = ride::parseScreen(screen);
    if (!parsedScreen)
        return parsedScreen.unexpected();
    parameters.screen = *parsedScreen;
    parameters.wind.tallScreenOffsetDb = tallScreen;
    const auto drivetrain = ride::parseDrivetrain(bike);
    if (!drivetrain)
        return drivetrain.unexpected();
    parameters.drivetrain = *drivetrain;
    if (gear > parameters.drivetrain.numGears)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the bike has " + std::to_string(parameters.drivetrain.numGears)
                             + " gears; --gear asks for " + std::to_string(gear));
    if (engine == "off") {
        parameters.engineState = ride::EngineState::off;
    } else {
        const auto preset = ride::parseEnginePreset(engine);
        if (!preset)
            return preset.unexpected();
        parameters.engine.firing = ride::firingPatternOf(*preset);
    }
    if (!firing.empty()) {
        const auto pattern = ride::makeFiringPattern(firing);
        if (!pattern)
            return pattern.unexpected();
        parameters.engine.firing = *pattern;
    }
    return parameters;
}

void addRideOptions(CLI::App& verb, RideOptions& options, double highestKmh)
{
    const auto highestMph = std::floor(dsp::kmhToMph(highestKmh));
    const auto upTo = [](double highest) { return std::to_string(std::lround(highest)); };
    CLI::Option* const kmh =
        addOption(verb, "--speed-kmh", options.speedKmh, "Speed in km/h, 0 to " + upTo(highestKmh))
            ->check(withinRange(0.0, highestKmh));
    CLI::Option* const mph =
        addOption(verb, "--speed-mph", options.speedMph, "Speed in mph, 0 to " + upTo(highestMph))
            ->check(withinRange(0.0, highestMph));
    kmh->excludes(mph);
    options.kmhOption = kmh;
    options.mphOption = mph;
    addOption(verb, "--gear", options.gear, "Gear from 1 on; 0 is the one a rider cruises in")
        ->check(CLI::Range(std::size_t {0}, ride::Drivetrain::maxGears))
        ->capture_default_str();
    addOption(verb, "--rpm", options.rpm, "Engine speed as measured, 200 to 20000; else by gear")
        ->check(withinRange(200.0, 20000.0));
    addOption(verb, "--helmet", options.helmet, "none, open or full")->capture_default_str();
    addOption(verb, "--screen", options.screen, "none, low or tall")->capture_default_str();
    addOption(verb, "--tall-screen", options.tallScreen,
              "What a tall screen does to the wind in dB, -15 to -4")
        ->check(withinRange(-15.0, -4.0))
        ->capture_default_str();
    addOption(verb, "--engine", options.engine,
              "v-twin-45, parallel-twin-360, boxer-twin, inline-three, inline-four, "
              "flat-six or off")
        ->capture_default_str();
    addOption(verb, "--firing", options.firing,
              "Firing angles within 720 degrees of the crank, in place of --engine's")
        ->delimiter(',');
    addOption(verb, "--bike", options.bike,
              "Gears and wheel: touring-twin, touring-three, touring-four or touring-six")
        ->capture_default_str();
}

void addNoiseOptions(CLI::App& verb, RideOptions& options)
{
    addOption(verb, "--recorded-noise", options.recordedNoise,
              "NOISE.json of 'saddletone texture', in place of the modelled ride; helmet, "
              "screen and engine are in it as they were");
    addFlag(verb, "--engine-running", options.runsParked,
            "The engine idles while parked; without it parked is silent");
}

dsp::Result<audition::SceneRide> sceneRideFrom(const RideOptions& options,
                                               const ride::RideParameters& ride)
{
    if (options.recordedNoise.empty())
        return audition::makeSceneRide(ride, nullptr);
    auto recorded = ride::loadRecordedNoise(options.recordedNoise);
    if (!recorded)
        return recorded.unexpected();
    return audition::makeSceneRide(
        ride, std::make_shared<const ride::RecordedNoise>(*std::move(recorded)));
}

nlohmann::json levelOrNull(double levelDb)
{
    return levelDb > dsp::silenceDb ? nlohmann::json(levelDb) : nlohmann::json();
}

nlohmann::json figuresJson(const std::vector<dsp::ModelFigure>& figures)
{
    auto list = nlohmann::json::array();
    for (const dsp::ModelFigure& figure : figures)
        list.push_back({{"name", figure.name},
                        {"value", figure.value},
                        {"status", dsp::figureStatusName(figure.status)},
                        {"source", figure.source}});
    return list;
}

} // namespace saddletone::commandline
