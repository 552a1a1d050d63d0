#pragma once

#include "Core/Hearing/ThirdOctaveSpectrum.h"

#include <span>

namespace saddletone::hearing {

/** One line of a spectrum. */
struct SpectralLine {
    double frequencyHz = 1000.0; ///< 20 to 20000.
    double levelDb = 0.0;        ///< dB SPL.

    bool operator==(const SpectralLine&) const = default;
};

/** Loudness of a steady sound in quiet in sone, heard alike by both ears in the free field, by
    excitation patterns: Moore, Glasberg and Baer, JAES 45(4):224-240, 1997, with the constants of
    ANSI S3.4-2007. 1 sone = a tone of 1 kHz at 40 dB. */
[[nodiscard]] double excitationLoudnessSones(std::span<const SpectralLine> lines);

/** The same for third octaves, each filled evenly with lines. */
[[nodiscard]] double excitationLoudnessSones(const ThirdOctaveSpectrum& sound);

/** How loud a sound is in the presence of another. */
struct PartialLoudness {
    double quietSones = 0.0;  ///< By itself.
    double maskedSones = 0.0; ///< In the noise; 0 to quietSones.
    /** maskedSones over quietSones; 0 for a sound that is not heard in quiet either. */
    [[nodiscard]] double share() const noexcept
    {
        return quietSones > 0.0 ? maskedSones / quietSones : 0.0;
    }

    bool operator==(const PartialLoudness&) const = default;
};

/** Partial loudness of a programme in noise by the same model (its equations for a signal above
    and below its masked threshold, with the specific loudness of ANSI S3.4-2007 also where signal
    and noise together exceed an excitation of 100 dB).

    Limits: long-term spectra, so a programme's peaks and the gaps of a fluctuating noise do not
    count; tested by its authors for tones in steady noise and below about 100 dB; both ears hear
    the same. Below 50 Hz there are no filters: such sound counts by what it adds above. */
[[nodiscard]] PartialLoudness partialLoudness(const ThirdOctaveSpectrum& programme,
                                              const ThirdOctaveSpectrum& noise);

/** The same for lines. */
[[nodiscard]] PartialLoudness partialLoudness(std::span<const SpectralLine> signal,
                                              std::span<const SpectralLine> noise);

} // namespace saddletone::hearing
