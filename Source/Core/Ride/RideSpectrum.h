#pragma once

#include "Core/Ride/RideParameters.h"

#include <vector>

namespace saddletone::ride {

/** Coherence of tyre noise between the ears, that of a diffuse field: sin(x) / x, x = 2 pi f d / c
    (Cook et al., J. Acoust. Soc. Am. 27(6):1072-1077, 1955). That the field at the head is diffuse,
    and the 0.15 m between the ears, is judgement. */
[[nodiscard]] double tyreEarCoherence(double frequencyHz) noexcept;

/** Above, tyre noise is made unrelated: less than a tenth would be left in common. */
inline constexpr double highestTyreCoherenceHz = 4000.0;

/** Levels at one ear in dB SPL, after helmet and plugs: what a long stretch of RideNoise has. */
struct RideSpectrum {
    std::vector<double> frequencyHz; ///< Exact centres of the third octaves from 20 Hz to 20 kHz.
    std::vector<double> windDb;
    std::vector<double> tyreDb; ///< With the tread's tone.
    std::vector<double> engineDb;
    std::vector<double> totalDb;

    // Over the range that is made; dsp::silenceDb where there is nothing.
    double windDba = 0.0;
    double tyreDba = 0.0;
    double engineDba = 0.0;
    double totalDba = 0.0;
    double totalDbc = 0.0; ///< C-weighted: how much of it lies low.
};

/** Computed from the models, without noise being made. */
[[nodiscard]] RideSpectrum rideSpectrum(const RideParameters& parameters);

} // namespace saddletone::ride
