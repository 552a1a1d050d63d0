#pragma once

#include "Core/Dsp/RandomSource.h"

#include <vector>

namespace saddletone::demo {

/** What a player is asked for. */
struct Note {
    double pitchMidi = 60.0;    ///< 69 is 440 Hz, equal temperament.
    double lengthSeconds = 0.5; ///< From onset to release; the sound rings on a little.
    double velocity = 0.8;      ///< 0 to 1; louder is also brighter.
};

[[nodiscard]] double midiToHz(double pitchMidi) noexcept;

/** A plucked bass string: harmonics with the comb of a plucking point, decaying the sooner the
    higher they are. */
[[nodiscard]] std::vector<float> makeBass(const Note& note, double sampleRate);

/** An electric piano: a tuned fork with an inharmonic tine at the stroke. */
[[nodiscard]] std::vector<float> makeKeys(const Note& note, double sampleRate);

/** One side of a warm pad: two detuned sawtooths under a slowly opening low-pass. Call once a side;
    random sets the phases and the detuning, so the sides differ. */
[[nodiscard]] std::vector<float> makePad(const Note& note, double sampleRate,
                                         dsp::RandomSource& random);

/** A reed-like lead with a swept low-pass and a vibrato that grows on held notes. */
[[nodiscard]] std::vector<float> makeLead(const Note& note, double sampleRate);

} // namespace saddletone::demo
