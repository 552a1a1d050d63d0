#pragma once

#include "Core/Demo/Singer.h"

#include <array>
#include <cstddef>
#include <span>
#include <string_view>

namespace saddletone::demo {

inline constexpr double tempoBpm = 96.0;
inline constexpr double beatSeconds = 60.0 / tempoBpm;
inline constexpr double sixteenthSeconds = beatSeconds / 4.0;
inline constexpr double barSeconds = 4.0 * beatSeconds;
inline constexpr std::size_t numBars = 12;
inline constexpr double programmeSeconds = barSeconds * static_cast<double>(numBars);

/** One bar for the drummer, a character for every sixteenth: '.' rests, '1' to '9' is the force. */
struct DrumBar {
    std::string_view kick;
    std::string_view snare;
    std::string_view clap;
    std::string_view closedHat;
    std::string_view openHat;
    std::string_view ride;
    std::string_view highTom;
    std::string_view lowTom;
};

/** A bar of harmony: bass root and an upper chord, MIDI pitches. */
struct ChordBar {
    int bassRootMidi = 28;
    std::array<int, 5> pitchesMidi {};
};

/** A step of a bass figure; the pitch counts from the bar's root. */
struct BassStep {
    double startSixteenths = 0.0;
    double lengthSixteenths = 2.0;
    int semitones = 0;
    double velocity = 0.8;
};

/** Beats count from the start of the piece. */
struct MelodyNote {
    double startBeats = 0.0;
    double lengthBeats = 1.0;
    int pitchMidi = 71;
    double velocity = 0.8;
};

/** Beats count from the start of the phrase. */
struct SungNote {
    double startBeats = 0.0;
    double lengthBeats = 1.0;
    int pitchMidi = 64;
    double velocity = 0.8;
    Vowel vowel = Vowel::father;
    Consonant onset = Consonant::none;
};

struct SungPhrase {
    double startBeats = 0.0; ///< From the start of the piece.
    std::span<const SungNote> notes;
};

/** The piece, bars counted from 0: drums alone (0, 1), with bass (2, 3), with keys, pad and lead
    (4, 5), with the voice (6 to 9), breakdown and a fill back to the start (10, 11). Own
    composition, around E dorian. */
[[nodiscard]] const DrumBar& drumBar(std::size_t bar);
[[nodiscard]] const ChordBar& chordBar(std::size_t bar);

/** Empty where the bass rests. */
[[nodiscard]] std::span<const BassStep> bassBar(std::size_t bar);

/** Bars in which keys and pad play. */
[[nodiscard]] bool hasChords(std::size_t bar);
[[nodiscard]] bool isBreakdown(std::size_t bar);

[[nodiscard]] std::span<const MelodyNote> leadMelody();
[[nodiscard]] std::span<const SungPhrase> sungPhrases();

} // namespace saddletone::demo
