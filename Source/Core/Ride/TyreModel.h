#pragma once

namespace saddletone::ride {

/** Tyre noise at the rider's head, before a helmet's loss. Its third octaves are flat from 800 to
    1250 Hz, where exterior tyre noise peaks (Sandberg, The multi-coincidence peak around 1000 Hz in
    tyre/road noise spectra); level, slope over speed, the fall on both sides of the peak and the
    tone are judgement. */
struct TyreModel {
    double anchorDba = 72.0;
    double anchorSpeedKmh = 80.0;
    double slopeDbPerDecade = 30.0;
    double treadPitchMetres = 0.03; ///< Length of one block of the tread, 0.005 to 0.2.
    double treadToneDb = -10.0;     ///< A-weighted level of the tone re the noise.
    bool treadToneIsOn = false;     ///< A tone at speed over pitch.

    bool operator==(const TyreModel&) const = default;

    /** A-weighted level of the noise in dB SPL; dsp::silenceDb at 0 km/h. */
    [[nodiscard]] double levelDba(double speedKmh) const noexcept;

    /** Frequency of the tread's tone. */
    [[nodiscard]] double treadToneHz(double speedKmh) const noexcept;
};

inline constexpr double tyreFallBelowDbPerOctave = 5.0;
inline constexpr double tyreFallAboveDbPerOctave = 8.0;

/** Relative density of tyre noise in dB at a frequency above 0; the caller scales it to a level. */
[[nodiscard]] double tyreDensityDb(double frequencyHz) noexcept;

} // namespace saddletone::ride
