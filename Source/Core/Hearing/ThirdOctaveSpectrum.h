#pragma once

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"

#include <array>
#include <cstddef>
#include <span>

namespace saddletone::hearing {

inline constexpr std::size_t numThirdOctaves = 31; ///< 20 Hz to 20 kHz, nominal.

/** Third octave by IEC 61260-1, base ten: band 0 is 20 Hz, 17 is 1 kHz, 30 is 20 kHz. */
[[nodiscard]] dsp::Band thirdOctave(std::size_t band) noexcept;

/** Levels in the third octaves from 20 Hz to 20 kHz: dB SPL at the head, or dBFS by AES17 for a
    programme on its way there. Silent bands hold dsp::silenceDb. */
struct ThirdOctaveSpectrum {
    std::array<double, numThirdOctaves> levelsDb = [] {
        std::array<double, numThirdOctaves> silent {};
        silent.fill(dsp::silenceDb);
        return silent;
    }();

    bool operator==(const ThirdOctaveSpectrum&) const = default;

    /** Power sum of all bands, each weighted at its centre. */
    [[nodiscard]] double totalDb(dsp::Weighting weighting = dsp::Weighting::z) const noexcept;

    /** All bands louder by gainDb; silent bands stay silent. */
    [[nodiscard]] ThirdOctaveSpectrum raisedBy(double gainDb) const noexcept;

    /** Band by band louder by another spectrum's levels; silence in either stays silent. */
    [[nodiscard]] ThirdOctaveSpectrum raisedBy(const ThirdOctaveSpectrum& gainDb) const noexcept;

    /** The same shape at an A-weighted total; silence if it is silent. */
    [[nodiscard]] ThirdOctaveSpectrum scaledToDba(double levelDba) const noexcept;
};

/** Band by band the power sum of two sounds that have nothing to do with each other. */
[[nodiscard]] ThirdOctaveSpectrum powerSum(const ThirdOctaveSpectrum& first,
                                           const ThirdOctaveSpectrum& second) noexcept;

/** Band levels, dBFS by AES17, of a power spectrum given as mean square per bin, 0 Hz first. */
[[nodiscard]] ThirdOctaveSpectrum spectrumOfPower(std::span<const double> powerPerBin,
                                                  double binHz);

/** Pink noise from 20 Hz to 20 kHz: every third octave alike, 0 dB in each. */
[[nodiscard]] ThirdOctaveSpectrum pinkSpectrum() noexcept;

/** Lowest level of a tone that is heard in quiet, free field, frontal, both ears, young and
    healthy: T_f of ISO 226:2003 from 20 Hz to 12.5 kHz, ISO 389-7:2019 for 16 kHz; the 20 kHz band
    takes the latter's 18 kHz value, as its lower end is what one hears first. */
[[nodiscard]] ThirdOctaveSpectrum hearingThreshold() noexcept;

/** Number of equivalent rectangular bandwidths (Cams) below a frequency: Glasberg and Moore,
    Hearing Research 47:103-138, 1990, with the constants of ANSI S3.4-2007. */
[[nodiscard]] double erbNumber(double frequencyHz) noexcept;

/** Its inverse. */
[[nodiscard]] double erbNumberToHz(double cams) noexcept;

/** Equivalent rectangular bandwidth in Hz at a frequency; same sources. */
[[nodiscard]] double erbWidthHz(double frequencyHz) noexcept;

} // namespace saddletone::hearing
