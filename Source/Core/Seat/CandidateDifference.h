#pragma once

#include "Core/Dsp/Result.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::seat {

struct DifferenceSettings {
    double sampleRate = 48000.0; ///< Of both sets of taps; 8 to 384 kHz.
    std::size_t numTaps = 8192;  ///< 256 to 65536.
    double maxBoostDb = 12.0;    ///< 0 to 24: judgement; the bike has to play it.
    double maxCutDb = 12.0;      ///< 0 to 40: judgement.
    double fromHz = 20.0;        ///< Beyond these the difference is held.
    double toHz = 20000.0;
    double smoothingOctaves = 1.0 / 6.0; ///< 1/24 to 1.

    bool operator==(const DifferenceSettings&) const = default;
};

/** A filter that makes speakers which play one candidate sound as another. */
struct CandidateDifference {
    std::vector<double> taps;          ///< Minimum phase, at the sample rate of the settings.
    std::vector<double> frequenciesHz; ///< Twelfths of an octave, of the two curves below.
    std::vector<double> wantedDb;      ///< The smoothed difference without limits.
    std::vector<double> filterDb;      ///< What the taps do.
    double highestGainDb = 0.0;        ///< Of the taps: headroom to leave.
    double limitedProportion = 0.0;    ///< Of the curve's points: beyond a limit by over 0.5 dB.
};

/** The difference of two candidates, for listening to the second over the real speakers that play
    the first ("on this bike"): per side, from the taps of both at the head without a helmet.

    Both power spectra are smoothed before they are divided, or the comb of reflections that another
    measurement has elsewhere would be copied. The division is regularised (Kirkeby and Nelson, JAES
    47(7/8), 1999) where the first lies 60 dB below its highest level, then limited. Levels are part
    of the difference; delay and phase are not, as two measurements have no common clock. Refused:
    empty, silent or non-finite taps. */
[[nodiscard]] dsp::Result<CandidateDifference>
candidateDifference(std::span<const float> fromTaps, std::span<const float> toTaps,
                    const DifferenceSettings& settings);

} // namespace saddletone::seat
