#pragma once

#include "Core/Dsp/RandomSource.h"

#include <vector>

namespace saddletone::demo {

/** Single strokes of an invented drum kit, peak near 1, mono. All pitches, decays and balances are
    this project's own, chosen by the spectrum of the mix. */

/** Falls from 200 Hz to its 52 Hz fundamental within some 60 ms, with a beater click. */
[[nodiscard]] std::vector<float> makeKick(double sampleRate, dsp::RandomSource& random);

/** Two skin modes under rattling wires. */
[[nodiscard]] std::vector<float> makeSnare(double sampleRate, dsp::RandomSource& random);

/** Four pairs of hands, not quite together. */
[[nodiscard]] std::vector<float> makeClap(double sampleRate, dsp::RandomSource& random);

[[nodiscard]] std::vector<float> makeTom(double fundamentalHz, double sampleRate,
                                         dsp::RandomSource& random);

/** decaySeconds near 0.08 is a closed hi-hat, near 0.5 an open one. */
[[nodiscard]] std::vector<float> makeHiHat(double decaySeconds, double sampleRate,
                                           dsp::RandomSource& random);

/** A stick's ping over a wash that reaches 16 kHz. */
[[nodiscard]] std::vector<float> makeRide(double sampleRate, dsp::RandomSource& random);

[[nodiscard]] std::vector<float> makeCrash(double sampleRate, dsp::RandomSource& random);

} // namespace saddletone::demo
