#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"

#include <string>
#include <vector>

#include <CLI/CLI.hpp>

namespace saddletone::commandline {

/** The options that describe a bike state, alike in every verb that makes one. */
struct StateOptions {
    std::string out;
    std::string name;
    std::string profile;
    std::string engine = "off";
    double speedKmh = 0.0;
    std::string place;
    std::string volumeStep;
    std::string speakers = "all";
    std::string measuredOn;
    std::string microphoneName;

    /** The name given, or that of the file to write. */
    [[nodiscard]] std::string stateName() const;
    /** What saving the state writes. */
    [[nodiscard]] std::vector<std::string> files() const;
    /** Fails if the word for the engine or the speakers is not known, or the date is none. */
    [[nodiscard]] dsp::Result<measure::BikeState> state() const;
};

/** The group of an argument; fails with the choices if it is not known. */
[[nodiscard]] dsp::Result<measure::SpeakerGroup> speakerGroupOf(const std::string& argument);

/** Adds them to a verb; options must outlive it. */
void addStateOptions(CLI::App& verb, StateOptions& options);

/** Adds --side, the speakers that a tuning's verb is about; side must outlive the verb and stays
    empty where the option is not given. */
void addSideOption(CLI::App& verb, std::string& side);

/** The group of a --side, or that of the state where it was not given. */
[[nodiscard]] measure::SpeakerGroup sideOrThat(const std::string& side,
                                               measure::SpeakerGroup ofState);

} // namespace saddletone::commandline
