#include "CommandLine/StateOptions.h"

#include <filesystem>

namespace saddletone::commandline {

std::string StateOptions::stateName() const
{
    return name.empty() ? std::filesystem::path(out).stem().string() : name;
}

dsp::Result<measure::BikeState> StateOptions::state() const
{
    const auto engineState = measure::parseEngineState(engine);
    if (!engineState)
        return engineState.unexpected();
    return measure::BikeState {profile, *engineState, speedKmh, place, volumeStep};
}

void addStateOptions(CLI::App& verb, StateOptions& options)
{
    verb.add_option("--out", options.out, "STATE.json to write")->required();
    verb.add_option("--name", options.name, "Name of the state");
    verb.add_option("--profile", options.profile, "Radio profile");
    verb.add_option("--engine", options.engine, "off, idle or running")->capture_default_str();
    verb.add_option("--speed-kmh", options.speedKmh, "Speed while measuring")
        ->check(CLI::Range(0.0, 400.0));
    verb.add_option("--place", options.place, "Place of the microphone");
    verb.add_option("--volume-step", options.volumeStep, "Volume step of the radio");
}

} // namespace saddletone::commandline
