#pragma once

#include "Core/Dsp/RandomSource.h"

#include <span>
#include <vector>

namespace saddletone::demo {

/** Named by the English words of Peterson and Barney (JASA 24(2), 1952). */
enum class Vowel { heed, head, had, father, hawed, whod, hud };

/** How a syllable begins. */
enum class Consonant { none, sibilant, dentalStop, palatalStop, breath };

/** A sung syllable of no language. The consonant comes before startSeconds, the vowel on it. */
struct Syllable {
    double startSeconds = 0.0; ///< From the start of the phrase.
    double lengthSeconds = 0.5;
    double pitchMidi = 60.0;
    double velocity = 0.8; ///< 0 to 1.
    Vowel vowel = Vowel::father;
    Consonant onset = Consonant::none;
};

/** The sound of a phrase begins this long before its first syllable's vowel. */
inline constexpr double singerLeadInSeconds = 0.2;

/** Sings a phrase: a glottal pulse wave with glides, vibrato and breath through five formant
    resonators in parallel that move from vowel to vowel, with noise for the consonants. The
    syllables are in order of time. */
[[nodiscard]] std::vector<float> makeSungPhrase(std::span<const Syllable> phrase, double sampleRate,
                                                dsp::RandomSource& random);

} // namespace saddletone::demo
