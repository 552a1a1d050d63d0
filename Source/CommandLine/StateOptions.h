#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"

#include <string>

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

    /** The name given, or that of the file to write. */
    [[nodiscard]] std::string stateName() const;
    /** Fails if the engine's word is not known. */
    [[nodiscard]] dsp::Result<measure::BikeState> state() const;
};

/** Adds them to a verb; options must outlive it. */
void addStateOptions(CLI::App& verb, StateOptions& options);

} // namespace saddletone::commandline
