#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/ToneControls.h"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace saddletone::tuning {

/** The bike measured with one tone control at one of its steps, everything else left alone. */
struct ToneSetting {
    measure::Response response;
    int step = 0;
};

/** How the radio shows a control. */
struct ToneScale {
    std::string name = "Bass";
    int lowestStep = -6; ///< -100 to 0.
    int highestStep = 6; ///< 0 to 100; above lowestStep.
};

/** A control as it follows from measurements, and how well they bear it out. */
struct IdentifiedToneControl {
    ToneControl control;
    std::size_t numBands = 0; ///< Third octaves trusted at all settings.
    double rmsDb = 0.0;       ///< Of what the control leaves unexplained, over all bands.
    double largestDb = 0.0;   ///< Signed; measured less explained.
    double largestAtHz = 0.0;
    double expectedRmsDb = 0.0;       ///< What the measurements' own uncertainty would leave.
    double levelDb = 0.0;             ///< By how much the level alone differed, at most; signed.
    std::vector<std::string> remarks; ///< What a reader should know, in plain words.
};

/** Finds the shelf or peaking filter, of one gain a step, that turns the first setting's third
    octaves into the others', by least squares weighted with the measurements' uncertainty.

    The level is taken to be the same at all settings, but for 0.25 dB (one standard deviation). It
    has to be: a high shelf of 6 dB is a low shelf of -6 dB and 6 dB more level.

    Refused: fewer than two different steps; settings that differ in profile, engine, speed, volume
    or microphone place; fewer than 15 third octaves trusted in all; a difference that is no more
    than the measurements can tell; a level that differs by more than 1 dB; a difference that no
    shelf and no peaking filter explains; a control that turns down when its step goes up; a
    frequency outside the trusted bands. */
[[nodiscard]] dsp::Result<IdentifiedToneControl>
identifyToneControl(std::span<const ToneSetting> settings, const ToneScale& scale);

} // namespace saddletone::tuning
