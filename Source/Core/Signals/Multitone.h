#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::signals {

/** A tone of a multitone. */
struct SignalTone {
    std::size_t cyclesPerPeriod = 0; ///< Whole cycles, so that the period repeats without a seam.
    double levelDbfs = 0.0;          ///< AES17.
    double phaseRadians = 0.0;       ///< Of a cosine at the period's first frame.

    bool operator==(const SignalTone&) const = default;
};

/** Tones at centres of a fraction of an octave, played at once. */
struct MultitoneShape {
    double sampleRate = 48000.0;
    std::size_t periodFrames = 32768; ///< Even.
    int tonesPerOctave = 24;          ///< 3, 6, 12 or 24.
    double fromHz = 22.387;           ///< Limits of the tones' centres.
    double toHz = 17782.794;          ///< Below half the sample rate.
    double levelDbfs = -20.0;         ///< AES17, of all tones together.
};

/** Chooses the tones: equal power per centre, each moved to a whole number of cycles; where several
    fall on the same one it gets the power of them all, so that wider bands keep their share. None
    where the limits hold no centre.

    The phases start as Schroeder's (IEEE Trans. Inf. Theory 16(1):85-89, 1970) and are then bettered
    by clipping the wave and restoring the tones' levels, over and over (Van der Ouderaa, Schoukens
    and Renneboog, IEEE Trans. Instrum. Meas. 37(1):145-147, 1988); the best pass is kept. With 24
    tones an octave from 25 Hz to 16 kHz the crest factor is about 9 dB; random phases give 12 to
    13 dB, as noise does. */
[[nodiscard]] std::vector<SignalTone> chooseTones(const MultitoneShape& shape);

/** One period of the tones. */
[[nodiscard]] std::vector<double> makeMultitone(std::span<const SignalTone> tones,
                                                std::size_t periodFrames);

} // namespace saddletone::signals
