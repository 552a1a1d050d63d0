#pragma once

#include "Core/Hearing/ThirdOctaveSpectrum.h"

#include <array>
#include <cstddef>

namespace saddletone::hearing {

inline constexpr std::size_t numSpeechBands = 18; ///< Third octaves from 160 Hz to 8 kHz.

/** Spectrum levels in the bands of speech, dB re (20 uPa)^2 per Hz. */
using SpeechBands = std::array<double, numSpeechBands>;

/** How loudly the standard's talker speaks. */
enum class VocalEffort { normal, raised, loud, shout };

/** What the bands are worth: speech in general, or the sentences of the SPIN test. */
enum class BandImportance { averageSpeech, spinSentences };

/** How the listener hears: two ears hear 1.7 dB better. */
enum class Listening { oneEar, bothEars };

/** Speech and noise at the listener's head, as in the free field. The defaults are quiet. */
struct SpeechInNoise {
    SpeechBands speechDb {};
    SpeechBands noiseDb = [] {
        SpeechBands quiet {};
        quiet.fill(-50.0); // what the standard takes for no noise
        return quiet;
    }();
    SpeechBands hearingLossDb {}; ///< Hearing threshold level, 0 = young and healthy.
    BandImportance importance = BandImportance::averageSpeech;
    Listening listening = Listening::oneEar;

    bool operator==(const SpeechInNoise&) const = default;
};

struct SpeechIntelligibility {
    /** Share of the speech that is heard: band audibility weighted by importance, 0 to 1. */
    double audibleShare = 0.0;
    double index = 0.0;        ///< 0 to 1. Above 0.75 good, below 0.45 poor: common rule of thumb.
    SpeechBands audibility {}; ///< Share of the band's speech that is heard, 0 to 1.
    SpeechBands disturbanceDb {};   ///< Spectrum level that speech has to stand out against.
    SpeechBands levelDistortion {}; ///< What is left of 1 where speech is too loud.

    bool operator==(const SpeechIntelligibility&) const = default;
};

/** Speech Intelligibility Index by ANSI S3.5-1997, third-octave procedure (tables 3 and B.2). It
    tells of speech without a picture; reverberation and fluctuating noise are not in it. Reference
    values: worked apart from this program (see the tests), not by the standard. */
[[nodiscard]] SpeechIntelligibility speechIntelligibility(const SpeechInNoise& scene) noexcept;

/** Spectrum levels of speech 1 m in front of the talker's lips. */
[[nodiscard]] SpeechBands speechSpectrumDb(VocalEffort effort) noexcept;

/** Speech of normal effort as third-octave levels; silent outside 160 Hz to 8 kHz. */
[[nodiscard]] ThirdOctaveSpectrum speechProgramme() noexcept;

/** The bands of speech out of third-octave levels. */
[[nodiscard]] SpeechBands speechBands(const ThirdOctaveSpectrum& spectrum) noexcept;

} // namespace saddletone::hearing
