#pragma once

#include "Core/Measure/Response.h"
#include "Core/Tuning/FitTarget.h"
#include "Core/Tuning/Tuning.h"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::tuning {

/** Twenty-fourths of an octave that make up a third. */
inline constexpr std::size_t numBandParts = 8;

/** A third octave that may be trusted, against what is wanted of it. */
struct ThirdOctave {
    double frequencyHz = 1000.0; ///< Exact mid-band.
    double deviationDb = 0.0;    ///< Level less target.
    double interval95Db = 0.0;   ///< Of the level; see measure::BandConfidence.
    /** Share of the band's power in each twenty-fourth of an octave, ascending; the sum is 1. So a
        filter that is steep within the band acts on what is there. */
    std::array<double, numBandParts> partShares {};

    bool operator==(const ThirdOctave&) const = default;
};

/** A response in third octaves against a target. */
struct ThirdOctaveCurve {
    std::vector<ThirdOctave> bands;  ///< Ascending; those that may be trusted.
    std::vector<double> untrustedHz; ///< The other bands of the range, mid-bands.

    bool operator==(const ThirdOctaveCurve&) const = default;
};

/** The third octaves, 20 Hz to 20 kHz, that the range from fromHz to toHz reaches into: 12 kHz takes
    the one of 12.5 kHz. A band that was not measured at all, or of which the target tells nothing,
    is untrusted as well. */
[[nodiscard]] ThirdOctaveCurve thirdOctaveCurve(const measure::Response& response,
                                                const FitTarget& target, double fromHz,
                                                double toHz);

/** Frequencies of a band's parts. */
[[nodiscard]] std::array<double, numBandParts> bandPartsHz(double bandHz) noexcept;

/** How far a curve strays from its target, the level free: all bands lie within plus and minus
    sizeDb of the target at the level that suits best, midway between the highest and the lowest
    band. */
struct Straying {
    double sizeDb = 0.0; ///< 0 or more: half the span from the lowest band to the highest.
    /** Of the two bands that bound the span, the one that sticks out of the others: the farther
        from their median. 0: no band. */
    double frequencyHz = 0.0;
    bool isAbove = false;      ///< It sticks out upwards.
    double interval95Db = 0.0; ///< Of sizeDb, from the intervals of both bands.

    bool operator==(const Straying&) const = default;
};

[[nodiscard]] Straying strayingOf(const ThirdOctaveCurve& curve);
/** The same after a tuning, as it is meant (its analogue prototypes). */
[[nodiscard]] Straying strayingOf(const ThirdOctaveCurve& curve, const Tuning& tuning,
                                  OutputGroup output = OutputGroup::all);

} // namespace saddletone::tuning
