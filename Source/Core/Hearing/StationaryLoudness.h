#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Hearing/ThirdOctaveSpectrum.h"

#include <array>
#include <cstddef>

namespace saddletone::hearing {

/** From where a sound comes: from the front, or from everywhere. */
enum class SoundField { free, diffuse };

/** Loudness of a steady sound. */
struct StationaryLoudness {
    static constexpr std::size_t numSteps = 240;

    double sones = 0.0;
    double phons = 0.0; ///< Loudness level.
    /** Specific loudness in sone per Bark at critical-band rates 0.1, 0.2 ... 24.0 Bark. */
    std::array<double, numSteps> specificSonesPerBark {};

    bool operator==(const StationaryLoudness&) const = default;
};

/** Loudness of a steady sound heard in quiet by ISO 532-1:2017, Zwicker's method for stationary
    sounds, from third octaves of 25 Hz to 12.5 kHz (others do not count). Refused above 120 dB in
    a band up to 250 Hz, where the method ends.

    Tables: the BASIC program of Zwicker, Fastl, Widmann, Kurakata, Kuwano and Namba, J. Acoust.
    Soc. Jpn. (E) 12(1):39-42, 1991, which the standard takes over, as two public implementations
    have them alike. The structure here is our own. */
[[nodiscard]] dsp::Result<StationaryLoudness> stationaryLoudness(const ThirdOctaveSpectrum& sound,
                                                                 SoundField field);

/** Loudness level in phon of a loudness in sone, by the standard's formula. */
[[nodiscard]] double sonesToPhons(double sones) noexcept;

} // namespace saddletone::hearing
