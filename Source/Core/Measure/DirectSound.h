#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"

#include <string>

namespace saddletone::measure {

/** The first sound of a response, looked at between 300 Hz and 3 kHz without a filter's delay. */
struct DirectSound {
    double offsetSeconds = 0.0; ///< Of its envelope's peak, from the response's arrivalFrame.
    double phaseDegrees = 0.0;  ///< At that peak: 0 pushes, 180 pulls; -180 to 180.
    Polarity polarity = Polarity::unclear;
    std::string reason; ///< What the polarity was concluded from, in plain words.
};

/** Finds the first peak of the envelope (analytic signal) that reaches half of the highest, and
    reads the polarity off its phase: within 60 degrees of 0 positive, of 180 negative, else
    unclear, as speakers of several ways and steep crossovers are. Also unclear where the envelope
    stands less than 10 dB above what precedes it (or above the response's end where it has no
    beginning). */
[[nodiscard]] DirectSound findDirectSound(const Response& response);
[[nodiscard]] DirectSound findDirectSound(const Response& response, dsp::FftStore& transforms);

/** By how many milliseconds the direct sound of a response arrives later than that of another,
    measured in the same recording from one file played through. tracksApartSeconds: between the
    starts of the two sweeps in that file. Each is taken at its envelope's peak from 300 Hz to
    3 kHz, so the group delay of the speakers there counts as way. Fails if a response does not
    know its arrival. */
[[nodiscard]] dsp::Result<double>
arrivalDifferenceMs(const Response& reference, const Response& other, double tracksApartSeconds);

} // namespace saddletone::measure
