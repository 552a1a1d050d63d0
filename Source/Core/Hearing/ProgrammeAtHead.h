#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Hearing/ThirdOctaveSpectrum.h"
#include "Core/Measure/Response.h"
#include "Core/Ride/Helmet.h"
#include "Core/Tuning/Tuning.h"

namespace saddletone::hearing {

/** Level of the pink noise by which a level at the head is assumed where nothing was calibrated,
    dBFS by AES17: that of an audition. */
inline constexpr double assumedProgrammeDbfs = -18.0;

/** Long-term third-octave levels of a programme, dBFS by AES17, mean power of its channels. */
[[nodiscard]] ThirdOctaveSpectrum programmeSpectrumDbfs(const dsp::AudioBuffer& programme);

/** Pink noise from 20 Hz to 20 kHz with a total level in dBFS by AES17. */
[[nodiscard]] ThirdOctaveSpectrum pinkProgrammeDbfs(double levelDbfs) noexcept;

/** Gain in dB from a track to the recording at the head in each third octave, for a programme that
    is even within the band: measured response and tuning, power mean of both sides, less what the
    helmet takes. Bands outside what was measured hold what the response has there; see
    Response::fromHz and toHz. */
[[nodiscard]] ThirdOctaveSpectrum headGainDb(const measure::Response& response,
                                             const tuning::Tuning& tuning, ride::Helmet helmet);

/** Everything that the level of a programme at the head follows from. */
struct ProgrammeAtHead {
    ThirdOctaveSpectrum programmeDbfs; ///< What is played.
    ThirdOctaveSpectrum gainDb;        ///< headGainDb().
    /** SPL that a full-scale sine in the measured recording stands for: Calibration says it, or
        assumedSplAtFullScaleDb() does. */
    double splAtFullScaleDb = 100.0;
    /** Volume control against where it stood when the response was measured. */
    double volumeChangeDb = 0.0;

    bool operator==(const ProgrammeAtHead&) const = default;

    /** Third-octave SPL at the head, as the ear gets it under the helmet. */
    [[nodiscard]] ThirdOctaveSpectrum splDb() const noexcept;
};

/** SPL at full scale such that pink noise at assumedProgrammeDbfs reaches an A-weighted level at
    the head; bareGainDb: headGainDb() without a helmet, as levels are set at the place of the head.
    */
[[nodiscard]] double assumedSplAtFullScaleDb(const ThirdOctaveSpectrum& bareGainDb,
                                             double levelDba) noexcept;

/** How much louder one setting of the volume control is than another, from two calibrated
    measurements that differ in nothing else: mean over third octaves from 200 Hz to 4 kHz that both
    trust; 0 if there is none. Takes each recording's own calibration, or none of them. */
[[nodiscard]] double volumeStepDb(const measure::Response& louder,
                                  const measure::Response& reference);

/** Band by band how far a programme stands above noise, dB; silenceDb where it is silent, and the
    programme's own level where the noise is. */
[[nodiscard]] ThirdOctaveSpectrum musicToNoiseDb(const ThirdOctaveSpectrum& programme,
                                                 const ThirdOctaveSpectrum& noise) noexcept;

/** By how much sound in the headphones is below the road: both A-weighted totals as heard. Positive
    = quieter than the road. The ratio of music to noise is not touched by it. */
[[nodiscard]] double headphoneScaleDownDb(double roadDba, double headphoneDba) noexcept;

} // namespace saddletone::hearing
