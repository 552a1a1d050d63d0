#pragma once

#include "Core/Measure/Response.h"

namespace saddletone::measure {

/** A response with what comes long after the direct sound taken out. */
struct WindowedResponse {
    /** Band levels follow the window; bands that hold less than lowestHz are not trusted, and
        fromHz does not lie below it. */
    Response response;
    double lowestHz = 0.0; ///< A window of T seconds cannot tell what lies below 1 / T.
};

/** Keeps the given time after the arrival, to part direct sound from reflections: full for three
    quarters of it, then a raised-cosine fade to nothing; before the arrival a raised-cosine rise over
    a quarter of it. milliseconds: 1 to 1000; more than the response has keeps all of it. */
[[nodiscard]] WindowedResponse windowFixed(const Response& response, double milliseconds);

/** The same with a window that lasts a number of cycles of each frequency, so that the resolution
    is one share of an octave everywhere: reflections go at high frequencies while low ones keep the
    time they need. cycles: 1 to 100. Below cycles / T, T being what the response has after its
    arrival, the window stays T long. */
[[nodiscard]] WindowedResponse windowCycles(const Response& response, double cycles);

} // namespace saddletone::measure
