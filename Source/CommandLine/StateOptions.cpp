#include "CommandLine/StateOptions.h"

#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"

#include "Core/Measure/CalibrationRecord.h"

#include <filesystem>

namespace saddletone::commandline {

std::string StateOptions::stateName() const
{
    return name.empty() ? std::filesystem::path(out).stem().string() : name;
}

std::vector<std::string> StateOptions::files() const
{
    return {out, measure::impulsePath(out).string(), measure::harmonicsPath(out).string()};
}

dsp::Result<measure::BikeState> StateOptions::state() const
{
    const auto engineState = measure::parseEngineState(engine);
    if (!engineState)
        return engineState.unexpected();
    const auto group = speakerGroupOf(speakers);
    if (!group)
        return group.unexpected();
    if (!measuredOn.empty())
        if (const auto day = measure::daysBetween(measuredOn, measuredOn); !day)
            return dsp::fail(day.error().code, "--date: " + day.error().message);
    return measure::BikeState {profile, *engineState, speedKmh, place, volumeStep, *group};
}

dsp::Result<measure::SpeakerGroup> speakerGroupOf(const std::string& argument)
{
    if (const auto group = measure::parseSpeakerGroup(argument))
        return *group;
    return dsp::fail(dsp::ErrorCode::malformed, "--speakers: '" + argument
                                                    + "' is no group of speakers; use "
                                                    + measure::speakerGroupChoices());
}

void addStateOptions(CLI::App& verb, StateOptions& options)
{
    addOption(verb, "--out", options.out, "STATE.json to write")->required();
    addOption(verb, "--name", options.name, "Name of the state");
    addOption(verb, "--profile", options.profile, "Radio profile");
    addOption(verb, "--engine", options.engine, "off, idle or running")->capture_default_str();
    addOption(verb, "--speed-kmh", options.speedKmh, "Speed while measuring")
        ->check(withinRange(0.0, 400.0));
    addOption(verb, "--place", options.place, "Place of the microphone");
    addOption(verb, "--volume-step", options.volumeStep, "Volume step of the radio");
    addOption(verb, "--speakers", options.speakers,
              "Which speakers played: " + measure::speakerGroupChoices())
        ->capture_default_str();
    addOption(verb, "--date", options.measuredOn, "Day of the recording, 2026-05-01");
    addOption(verb, "--microphone-name", options.microphoneName,
              "Microphone and recorder, in words");
}

void addSideOption(CLI::App& verb, std::string& side)
{
    std::vector<std::string> names;
    for (const measure::SpeakerGroup group : measure::allSpeakerGroups)
        names.emplace_back(measure::speakerGroupName(group));
    addOption(verb, "--side", side,
              "Speakers that it is about, if not those of the state; chains that act on "
              "some of them only are refused")
        ->check(oneOf(names));
}

measure::SpeakerGroup sideOrThat(const std::string& side, measure::SpeakerGroup ofState)
{
    return measure::parseSpeakerGroup(side).value_or(ofState);
}

} // namespace saddletone::commandline
