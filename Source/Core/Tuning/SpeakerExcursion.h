#pragma once

#include "Core/Tuning/Speaker.h"

#include <complex>

namespace saddletone::tuning {

// A rigid piston in a large baffle (half space), small signals: Thiele, JAES 19(5), 1971; Small,
// JAES 20(5) and 20(10), 1972, and 21(5), 1973. Voice-coil inductance, break-up, a suspension that
// stiffens and a coil that warms up are not in it. Voltages are RMS, excursions peak of a sine.

/** Air at 20 degrees C. */
inline constexpr double airDensityKgPerCubicMetre = 1.2;
inline constexpr double soundSpeedMetresPerSecond = 343.0;

/** Resonance and total Q of the speaker with the air behind it. */
struct SystemResonance {
    double frequencyHz = 0.0;
    double q = 0.0;
};

/** Free air: fs and Qts. Sealed: fc and Qtc. Vented: those with the port closed. */
[[nodiscard]] SystemResonance systemResonance(const Speaker& speaker) noexcept;

/** Acoustic power over electrical power into reOhm, well above the resonance. */
[[nodiscard]] double referenceEfficiency(const Speaker& speaker) noexcept;

/** SPL of one speaker at 1 m for 1 W into the nominal impedance, well above the resonance. */
[[nodiscard]] double sensitivityDbSpl(const Speaker& speaker) noexcept;

/** Sound pressure over that well above the resonance: a high-pass of order 2, vented of order 4. */
[[nodiscard]] std::complex<double> pressureResponse(const Speaker& speaker,
                                                    double frequencyHz) noexcept;

/** Cone displacement over that in free air at 0 Hz for the same voltage. Vented: a null at the
    tuning, as deep as the leaks let it be. */
[[nodiscard]] std::complex<double> displacementResponse(const Speaker& speaker,
                                                        double frequencyHz) noexcept;

/** Displacement in free air at 0 Hz, in mm per volt. */
[[nodiscard]] double staticExcursionMmPerVolt(const Speaker& speaker) noexcept;

/** Peak excursion for a sine of a voltage. */
[[nodiscard]] double peakExcursionMm(const Speaker& speaker, double frequencyHz,
                                     double volts) noexcept;

/** SPL of one speaker at a distance for a sine of a voltage. */
[[nodiscard]] double speakerSplDb(const Speaker& speaker, double frequencyHz, double volts,
                                  double distanceMetres) noexcept;

/** Highest SPL of one speaker at 1 m with a sine at which the cone stays within xmaxMm. */
[[nodiscard]] double displacementLimitedSplDb(const Speaker& speaker, double frequencyHz) noexcept;

/** Highest SPL of one speaker at 1 m with a sine of powerLimitWatts into the nominal impedance. */
[[nodiscard]] double powerLimitedSplDb(const Speaker& speaker, double frequencyHz) noexcept;

/** Volume a piston has to move, peak, for an SPL at 1 m in half space, whatever drives it. */
[[nodiscard]] double peakVolumeCubicCentimetres(double splDb, double frequencyHz) noexcept;

/** Sound pressure level of an RMS pressure in pascal (re 20 micropascal). */
[[nodiscard]] double pressureToSplDb(double pascal) noexcept;
[[nodiscard]] double splDbToPressure(double splDb) noexcept;

} // namespace saddletone::tuning
