#include "CommandLine/FileArguments.h"
#include "CommandLine/JobArgument.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/RideOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Job/Job.h"
#include "Core/Presets/RidePreset.h"

#include <cmath>
#include <memory>

namespace saddletone::commandline {

namespace {

using Outcome = std::variant<Output, Failure>;

struct JobRideOptions {
    std::string folder;
    RideOptions ride;
    std::string plugs = "none";
    double programmeSpl = 90.0;
    std::string preset; ///< Of a ride, taken over ahead of the other options.
    const CLI::App* verb = nullptr;

    [[nodiscard]] bool has(const char* option) const
    {
        return verb->get_option(option)->count() > 0;
    }
};

/** What options say in place of what the job says. */
dsp::Result<void> takeOver(const JobRideOptions& options, job::JobRide& ride)
{
    const auto parameters = options.ride.parameters();
    if (!parameters)
        return dsp::fail(parameters.error().code, parameters.error().message);
    const auto plugs = ride::parseEarPlugs(options.plugs);
    if (!plugs)
        return dsp::fail(plugs.error().code, plugs.error().message);
    if (options.ride.hasSpeed())
        ride.speedKmh = options.ride.speed();
    if (options.has("--helmet"))
        ride.helmet = parameters->helmet;
    if (options.has("--screen"))
        ride.screen = parameters->screen;
    if (options.has("--plugs"))
        ride.earPlugs = *plugs;
    if (options.has("--bike"))
        ride.bike = options.ride.bike;
    if (options.has("--engine") && options.ride.engine != "off") {
        ride.engine = options.ride.engine;
        ride.firingAnglesDegrees.clear();
    }
    if (options.has("--firing"))
        ride.firingAnglesDegrees = options.ride.firing;
    if (options.has("--engine") || options.has("--engine-running"))
        ride.engineNoise = options.ride.engineNoise();
    if (options.has("--rpm"))
        ride.measuredRpm = options.ride.rpm;
    if (options.has("--programme-spl"))
        ride.assumedProgrammeSplDba = options.programmeSpl;
    return {};
}

/** What a preset says in place of what the job says; the bike's own noise stays. */
void takeOver(const presets::RidePreset& preset, job::JobRide& ride)
{
    ride.speedKmh = preset.speedKmh;
    ride.helmet = preset.helmet;
    ride.screen = preset.screen;
    ride.earPlugs = preset.earPlugs;
    ride.engineNoise = preset.engineNoise;
}

Outcome runJobRide(const JobRideOptions& options)
{
    auto job = loadJobArgument(options.folder);
    if (!job)
        return inputFailure(job.error());
    if (!options.preset.empty()) {
        const auto preset = presets::loadRidePreset(options.preset);
        if (!preset)
            return inputFailure(preset.error());
        takeOver(*preset, job->ride);
    }
    if (const auto taken = takeOver(options, job->ride); !taken)
        return usageFailure(taken.error().message);
    if (!options.ride.recordedNoise.empty()) {
        const auto noise = ride::loadRecordedNoise(options.ride.recordedNoise);
        if (!noise)
            return inputFailure(noise.error());
        const std::string file = "ride/noise.json";
        if (const auto saved = ride::saveRecordedNoise(*noise, job->folder / file); !saved)
            return inputFailure(saved.error());
        job->ride.recordedNoiseFile = file;
    }
    if (const auto saved = job::saveJob(*job); !saved)
        return inputFailure(saved.error());
    const job::JobRide& ride = job->ride;
    Output output;
    output.text = options.folder + ": starts at " + std::to_string(std::lround(ride.speedKmh))
                  + " km/h, " + std::string(ride::helmetLabel(ride.helmet)) + ", "
                  + std::string(ride::screenLabel(ride.screen)) + ", "
                  + (ride.recordedNoiseFile.empty() ? ride.engine + " on " + ride.bike
                                                    : "noise of " + ride.recordedNoiseFile)
                  + "\n";
    output.json = {{"speedKmh", ride.speedKmh},
                   {"helmet", ride::helmetName(ride.helmet)},
                   {"screen", ride::screenName(ride.screen)},
                   {"earPlugs", ride::earPlugsName(ride.earPlugs)},
                   {"engineNoise", audition::engineNoiseName(ride.engineNoise)},
                   {"bike", ride.bike},
                   {"engine", ride.engine},
                   {"recordedNoiseFile", ride.recordedNoiseFile}};
    return output;
}

} // namespace

void addJobRideVerb(CLI::App& job, Shared& shared)
{
    auto options = std::make_shared<JobRideOptions>();
    CLI::App* verb = addVerb(
        job, "ride",
        "Set the bike, the noise and where a ride of the job starts; what is not given stays");
    options->verb = verb;
    addOption(*verb, "folder", options->folder, "Folder of the job")->required();
    addOption(*verb, "--preset", options->preset,
              "A ride to begin with, a name of 'saddletone presets --kind ride' or a file; what "
              "other options say goes before it")
        ->transform(presetName(presets::PresetKind::ride));
    addRideOptions(*verb, options->ride, 250.0);
    addNoiseOptions(*verb, options->ride);
    addOption(*verb, "--plugs", options->plugs, "Ear plugs: none, nominal or cautious");
    addOption(*verb, "--programme-spl", options->programmeSpl,
              "Assumed dB(A) at the head with loud music, 50 to 120")
        ->check(withinRange(50.0, 120.0));
    verb->callback(
        [options, &shared] { shared.action = [options] { return runJobRide(*options); }; });
}

} // namespace saddletone::commandline
