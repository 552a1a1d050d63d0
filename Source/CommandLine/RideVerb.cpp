#include "CommandLine/Options.h"
#include "CommandLine/RideOptions.h"
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

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;

struct RideVerbOptions {
    RideOptions ride;
    std::string plugs = "none";
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

dsp::Result<ride::RideParameters> rideOf(const RideVerbOptions& options)
{
    auto parameters = options.ride.parameters();
    if (!parameters)
        return parameters;
    const auto plugs = ride::parseEarPlugs(options.plugs);
    if (!plugs)
        return plugs.unexpected();
    parameters->earPlugs = *plugs;

    const auto isHeard = [&options](const char* name) {
        return std::ranges::find(options.sources, name) != options.sources.end();
    };
    parameters->windTrimDb = isHeard("wind") ? 0.0 : dsp::silenceDb;
    parameters->tyreTrimDb = isHeard("tyre") ? 0.0 : dsp::silenceDb;
    parameters->engineTrimDb = isHeard("engine") ? 0.0 : dsp::silenceDb;
    parameters->tyre.treadToneIsOn = options.treadTone;
    return parameters;
}

dsp::AudioBuffer renderRide(const RideVerbOptions& options, const ride::RideParameters& parameters)
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

std::variant<Output, Failure> runRide(const RideVerbOptions& options)
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
                   {"helmet", options.ride.helmet},
                   {"plugs", options.plugs},
                   {"screen", options.ride.screen},
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
                     {"totalSplDb", levelsOrNull(spectrum.totalDb)}}}};
    output.text += "figures:\n";
    const auto figures = ride::rideFigures(*parameters);
    for (const dsp::ModelFigure& figure : figures)
        output.text += "  " + figure.name + ": " + figure.value + " ["
                       + std::string(dsp::figureStatusName(figure.status)) + ": " + figure.source
                       + "]\n";
    output.json["figures"] = figuresJson(figures);
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
    auto options = std::make_shared<RideVerbOptions>();
    CLI::App* verb = addVerb(
        app, "ride", "State or render the noise of a ride at the rider's ears, part by part");
    addRideOptions(*verb, options->ride, 300.0);
    addOption(*verb, "--plugs", options->plugs, "none, nominal or cautious")->capture_default_str();
    addOption(*verb, "--sources", options->sources, "What is heard of wind, tyre, engine")
        ->delimiter(',')
        ->check(oneOf({"wind", "tyre", "engine"}))
        ->capture_default_str();
    addFlag(*verb, "--tread-tone", options->treadTone, "The tone of the tyre's tread blocks");
    addOption(*verb, "--out", options->out, "Audio file to write (WAV or FLAC)");
    addOption(*verb, "--seconds", options->seconds, "Length in s, up to 1800")
        ->check(CLI::Range(0.1, 1800.0))
        ->capture_default_str();
    addOption(*verb, "--from", options->from, "Where in the endless noise to begin, in s")
        ->check(CLI::Range(0.0, 1.0e6))
        ->capture_default_str();
    addOption(*verb, "--rate", options->rate, "Sample rate in Hz, 8000 to 384000")
        ->check(CLI::Range(8000.0, 384000.0))
        ->capture_default_str();
    addOption(*verb, "--full-scale-spl", options->fullScaleSpl,
              "dB SPL that 0 dBFS stands for, 60 to 200")
        ->check(CLI::Range(60.0, 200.0))
        ->capture_default_str();
    addOption(*verb, "--seed", options->seed, "Seed of the noise")->capture_default_str();
    addOption(*verb, "--block", options->block,
              "Frames a block, 1 to 65536; the result does not depend on it")
        ->check(CLI::Range(std::size_t {1}, std::size_t {65536}))
        ->capture_default_str();
    addOption(*verb, "--bits", options->bits, "16, 24 or 32f")->capture_default_str();
    verb->callback([options, &shared] { shared.action = [options] { return runRide(*options); }; });
}

} // namespace saddletone::commandline
