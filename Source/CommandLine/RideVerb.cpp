#include "CommandLine/Verbs.h"

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Ride/RideFigures.h"
#include "Core/Ride/RideNoise.h"
#include "Core/Ride/RideSpectrum.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::commandline {

namespace {

using files::fixedText;

struct RideOptions {
    double speedKmh = 0.0;
    double speedMph = 0.0;
    bool inMph = false;
    std::size_t gear = 0;
    double rpm = 0.0;
    std::string helmet = "full";
    std::string plugs = "none";
    std::string screen = "none";
    double tallScreen = -10.0;
    std::string engine = "v-twin-45";
    std::string bike = "touring-twin";
    std::vector<double> firing;
    std::vector<std::string> sources {"wind", "tyre", "engine"};
    bool treadTone = false;
    std::string out;
    double seconds = 10.0;
    double from = 0.0;
    double rate = 48000.0;
    double fullScaleSpl = 140.0;
    std::uint64_t seed = 1;
    std::size_t block = 512;
    std::string bits = "32f";
};

dsp::Result<ride::RideParameters> rideOf(const RideOptions& options)
{
    ride::RideParameters parameters;
    parameters.speedKmh = options.inMph ? dsp::mphToKmh(options.speedMph) : options.speedKmh;
    parameters.gear = options.gear;
    parameters.measuredRpm = options.rpm;
    const auto helmet = ride::parseHelmet(options.helmet);
    if (!helmet)
        return dsp::Unexpected {helmet.error()};
    parameters.helmet = *helmet;
    const auto plugs = ride::parseEarPlugs(options.plugs);
    if (!plugs)
        return dsp::Unexpected {plugs.error()};
    parameters.earPlugs = *plugs;
    const auto screen = ride::parseScreen(options.screen);
    if (!screen)
        return dsp::Unexpected {screen.error()};
    parameters.screen = *screen;
    parameters.wind.tallScreenOffsetDb = options.tallScreen;

    const auto bike =
        std::ranges::find(ride::drivetrainTable, options.bike, &ride::DrivetrainEntry::name);
    if (bike == ride::drivetrainTable.end()) {
        std::string known;
        for (const ride::DrivetrainEntry& entry : ride::drivetrainTable)
            known += (known.empty() ? "" : ", ") + std::string(entry.name);
        return dsp::fail(dsp::ErrorCode::malformed,
                         "bike '" + options.bike + "' is not in the table; use one of " + known);
    }
    parameters.drivetrain = bike->drivetrain;
    if (options.gear > parameters.drivetrain.numGears)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the bike has " + std::to_string(parameters.drivetrain.numGears)
                             + " gears; --gear asks for " + std::to_string(options.gear));

    if (options.engine == "off") {
        parameters.engineState = ride::EngineState::off;
    } else {
        const auto preset = ride::parseEnginePreset(options.engine);
        if (!preset)
            return dsp::Unexpected {preset.error()};
        parameters.engine.firing = ride::firingPatternOf(*preset);
    }
    if (!options.firing.empty()) {
        const auto firing = ride::makeFiringPattern(options.firing);
        if (!firing)
            return dsp::Unexpected {firing.error()};
        parameters.engine.firing = *firing;
    }

    const auto isHeard = [&options](const char* name) {
        return std::ranges::find(options.sources, name) != options.sources.end();
    };
    parameters.windTrimDb = isHeard("wind") ? 0.0 : dsp::silenceDb;
    parameters.tyreTrimDb = isHeard("tyre") ? 0.0 : dsp::silenceDb;
    parameters.engineTrimDb = isHeard("engine") ? 0.0 : dsp::silenceDb;
    parameters.tyre.treadToneIsOn = options.treadTone;
    return parameters;
}

dsp::AudioBuffer renderRide(const RideOptions& options, const ride::RideParameters& parameters)
{
    ride::RideNoise noise(options.seed);
    noise.setParameters({parameters, options.fullScaleSpl});
    noise.prepare({options.rate, options.block, ride::RideNoise::numEars});
    noise.seek(static_cast<std::uint64_t>(std::llround(options.from * options.rate)));
    auto audio =
        dsp::makeSilence(options.rate, ride::RideNoise::numEars,
                         static_cast<std::size_t>(std::llround(options.seconds * options.rate)));
    for (std::size_t done = 0; done < audio.numFrames(); done += options.block) {
        const std::size_t count = std::min(options.block, audio.numFrames() - done);
        const std::array<float*, ride::RideNoise::numEars> pointers {
            audio.channels[0].data() + done, audio.channels[1].data() + done};
        noise.process({pointers.data(), pointers.size(), count});
    }
    return audio;
}

nlohmann::json levelOrNull(double levelDb)
{
    return levelDb > dsp::silenceDb ? nlohmann::json(levelDb) : nlohmann::json();
}

nlohmann::json levelsOrNull(const std::vector<double>& levelsDb)
{
    auto list = nlohmann::json::array();
    for (const double levelDb : levelsDb)
        list.push_back(levelOrNull(levelDb));
    return list;
}

std::string levelText(const char* name, double levelDba)
{
    return std::string(name)
           + (levelDba > dsp::silenceDb ? fixedText(levelDba, 1) + " dB(A)" : "none") + "\n";
}

std::variant<Output, Failure> runRide(const RideOptions& options)
{
    const auto format = files::parseSampleFormat(options.bits);
    if (!format)
        return usageFailure(format.error().message);
    const auto parameters = rideOf(options);
    if (!parameters)
        return usageFailure(parameters.error().message);

    const ride::RideState state = ride::rideState(*parameters);
    const ride::RideSpectrum spectrum = ride::rideSpectrum(*parameters);
    Output output;
    output.text = fixedText(parameters->speedKmh, 0) + " km/h ("
                  + fixedText(dsp::kmhToMph(parameters->speedKmh), 0) + " mph), "
                  + std::string(ride::helmetLabel(parameters->helmet)) + ", "
                  + std::string(ride::screenLabel(parameters->screen)) + "\n" + "engine "
                  + fixedText(state.rpm, 0) + " rpm"
                  + (parameters->speedKmh > 0.0 ? ", gear " + std::to_string(state.gear) : "")
                  + "\nat the ear:\n" + levelText("  wind   ", spectrum.windDba)
                  + levelText("  tyre   ", spectrum.tyreDba)
                  + levelText("  engine ", spectrum.engineDba)
                  + levelText("  all    ", spectrum.totalDba);
    output.json = {{"speedKmh", parameters->speedKmh},
                   {"gear", state.gear},
                   {"rpm", state.rpm},
                   {"helmet", options.helmet},
                   {"plugs", options.plugs},
                   {"screen", options.screen},
                   {"firingAnglesDegrees", parameters->engine.firing.angles()},
                   {"windSplDba", levelOrNull(spectrum.windDba)},
                   {"tyreSplDba", levelOrNull(spectrum.tyreDba)},
                   {"engineSplDba", levelOrNull(spectrum.engineDba)},
                   {"totalSplDba", levelOrNull(spectrum.totalDba)},
                   {"totalSplDbc", levelOrNull(spectrum.totalDbc)},
                   {"thirdOctaves",
                    {{"frequencyHz", spectrum.frequencyHz},
                     {"windSplDb", levelsOrNull(spectrum.windDb)},
                     {"tyreSplDb", levelsOrNull(spectrum.tyreDb)},
                     {"engineSplDb", levelsOrNull(spectrum.engineDb)},
                     {"totalSplDb", levelsOrNull(spectrum.totalDb)}}},
                   {"figures", nlohmann::json::array()}};
    output.text += "figures:\n";
    for (const dsp::ModelFigure& figure : ride::rideFigures(*parameters)) {
        const std::string status(dsp::figureStatusName(figure.status));
        output.text +=
            "  " + figure.name + ": " + figure.value + " [" + status + ": " + figure.source + "]\n";
        output.json["figures"].push_back({{"name", figure.name},
                                          {"value", figure.value},
                                          {"status", status},
                                          {"source", figure.source}});
    }
    if (options.out.empty())
        return output;

    showProgress("rendering");
    if (const auto written =
            files::writeAudioFile(renderRide(options, *parameters), options.out, *format);
        !written)
        return inputFailure(written.error());
    output.json["file"] = options.out;
    output.json["fullScaleSplDb"] = options.fullScaleSpl;
    output.text += options.out + ": " + fixedText(options.seconds, 1) + " s, 0 dBFS is "
                   + fixedText(options.fullScaleSpl, 0)
                   + " dB SPL. Never play it as loud as it is on the road.\n";
    return output;
}

} // namespace

void addRideVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<RideOptions>();
    CLI::App* verb = app.add_subcommand(
        "ride", "State or render the noise of a ride at the rider's ears, part by part");
    auto* kmh = verb->add_option("--speed-kmh", options->speedKmh, "Speed in km/h, 0 to 300")
                    ->check(CLI::Range(0.0, 300.0));
    auto* mph = verb->add_option("--speed-mph", options->speedMph, "Speed in mph, 0 to 186")
                    ->check(CLI::Range(0.0, 186.0));
    kmh->excludes(mph);
    verb->add_option("--gear", options->gear, "Gear from 1 on; 0 is the one a rider cruises in")
        ->check(CLI::Range(std::size_t {0}, ride::Drivetrain::maxGears))
        ->capture_default_str();
    verb->add_option("--rpm", options->rpm, "Engine speed as measured, 200 to 20000; else by gear")
        ->check(CLI::Range(200.0, 20000.0));
    verb->add_option("--helmet", options->helmet, "none, open or full")->capture_default_str();
    verb->add_option("--plugs", options->plugs, "none, nominal or cautious")->capture_default_str();
    verb->add_option("--screen", options->screen, "none, low or tall")->capture_default_str();
    verb->add_option("--tall-screen", options->tallScreen,
                     "What a tall screen does to the wind in dB, -15 to -4")
        ->check(CLI::Range(-15.0, -4.0))
        ->capture_default_str();
    verb->add_option("--engine", options->engine,
                     "v-twin-45, parallel-twin-360, boxer-twin, inline-three, inline-four, "
                     "flat-six or off")
        ->capture_default_str();
    verb->add_option("--firing", options->firing,
                     "Firing angles within 720 degrees of the crank, in place of --engine's")
        ->delimiter(',');
    verb->add_option("--bike", options->bike,
                     "Gears and wheel: touring-twin, touring-three, touring-four or touring-six")
        ->capture_default_str();
    verb->add_option("--sources", options->sources, "What is heard of wind, tyre, engine")
        ->delimiter(',')
        ->check(CLI::IsMember({"wind", "tyre", "engine"}))
        ->capture_default_str();
    verb->add_flag("--tread-tone", options->treadTone, "The tone of the tyre's tread blocks");
    verb->add_option("--out", options->out, "Audio file to write (WAV or FLAC)");
    verb->add_option("--seconds", options->seconds, "Length in s, up to 1800")
        ->check(CLI::Range(0.1, 1800.0))
        ->capture_default_str();
    verb->add_option("--from", options->from, "Where in the endless noise to begin, in s")
        ->check(CLI::Range(0.0, 1.0e6))
        ->capture_default_str();
    verb->add_option("--rate", options->rate, "Sample rate in Hz, 8000 to 384000")
        ->check(CLI::Range(8000.0, 384000.0))
        ->capture_default_str();
    verb->add_option("--full-scale-spl", options->fullScaleSpl,
                     "dB SPL that 0 dBFS stands for, 60 to 200")
        ->check(CLI::Range(60.0, 200.0))
        ->capture_default_str();
    verb->add_option("--seed", options->seed, "Seed of the noise")->capture_default_str();
    verb->add_option("--block", options->block,
                     "Frames a block, 1 to 65536; the result does not depend on it")
        ->check(CLI::Range(std::size_t {1}, std::size_t {65536}))
        ->capture_default_str();
    verb->add_option("--bits", options->bits, "16, 24 or 32f")->capture_default_str();
    verb->callback([options, mph, &shared] {
        options->inMph = mph->count() > 0;
        shared.action = [options] { return runRide(*options); };
    });
}

} // namespace saddletone::commandline
