#pragma once

#include "Core/Measure/HarmonicDistortion.h"
#include "Core/Measure/Response.h"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace saddletone::measure {

/** Where a deconvolved sweep holds nothing but error. Times count from the arrival. */
struct ErrorZones {
    double windowBeforeSeconds = 0.35; ///< The impulse's window.
    double windowAfterSeconds = 0.6;
    /** Up to here the recording still covers every frequency. */
    double lastSeconds = 1.85;
};

/** Error per band that stands in a deconvolved sweep outside the impulse's window and the harmonics'
    zones: mean |error|^2 per bin that a window of unit energy passes on. What the pause does not
    hold (a codec's noise, rattles, a decay longer than the window) shows here, since the sweep was
    playing. It follows the impulse (error below the frequency being played, and decay) and, if the
    sweep is long enough to leave a gap there, precedes it (error above that frequency); the larger
    of the two counts. Negative values: no zone was long enough to tell. */
[[nodiscard]] std::vector<double>
playingError(const DeconvolvedSweep& deconvolved, const signals::SweepShape& sweep,
             const ErrorZones& zones, std::span<const dsp::Band> bands, dsp::FftStore& transforms);

/** Up to which frequency a response reaches that a codec or a filter cut off: above it the level
    falls by 12 dB within a sixteenth of an octave (190 dB an octave, which no speaker does) and
    stays down to the response's toHz. Looked for above 5 kHz; nothing if there is no such fall. */
[[nodiscard]] std::optional<double> findCutHz(const Response& response, dsp::FftStore& transforms);

} // namespace saddletone::measure
