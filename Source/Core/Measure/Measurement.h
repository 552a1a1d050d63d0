#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/FftStore.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"
#include "Core/Signals/Signal.h"

#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::measure {

/** A recording with the name that messages call it. */
struct Recording {
    std::string name;
    dsp::AudioBuffer audio; ///< Any number of channels; the loudest is used.
};

/** What a measurement is made from. */
struct MeasurementRequest {
    std::vector<Recording> recordings; ///< Takes of the same track at the same place; at least one.
    signals::SignalDescription track;  ///< Of a sweep.
    /** Response of the microphone in dB re its sensitivity; taken out of the result. */
    std::optional<files::FrequencyTable> microphone;
    std::optional<Calibration> calibration;
    /** Recording of the place without the signal; missing: the pauses of the track are used. */
    std::optional<Recording> noise;
    std::string name;
    BikeState state;
    /** Told the share that is done, 0 to 1, before each recording and before they become one
        response; false ends the measurement with measurementCancelledMessage. */
    std::function<bool(double doneProportion)> onProgress {};
};

inline constexpr const char* measurementCancelledMessage = "cancelled; nothing was measured";

/** Turns recordings of a sweep track, made with a recorder of its own clock, into a response.

    For each take: find the markers and with them the clock, deconvolve by spectral division
    (which is exact for a linear system; harmonic distortion falls in front of the linear response
    by L ln n, Farina 2000, is cut off and measured by itself), window to 0.35 s before and 0.6 s
    after the arrival. A recording may hold several repeats of the track; each is a take.
    combineTakes() says how takes become one response, and which are left out where.
    transforms: where large transforms come from; kept, the next measurement is quicker.

    Noise is what the pause holds, or what stands beside the response while the track plays (a
    codec's error, rattles), whichever is more. Where a codec cut the top, or its error drowns it,
    toHz is lowered and a remark says so. The 95 % interval of a band is the wider of that from the
    noise and Student's t times the takes' spread.

    Refused, each with its own reason: silent, damaged, clipped, cut off, without markers, of another
    track, with sound missing in the sweep, with automatic gain (markers differ by more than 1.5 dB),
    or drowned in noise (less than 10 dB in the middle of the range). */
[[nodiscard]] dsp::Result<Response> measureResponse(const MeasurementRequest& request,
                                                    dsp::FftStore& transforms);
/** The same with transforms of its own. */
[[nodiscard]] dsp::Result<Response> measureResponse(const MeasurementRequest& request);

/** Level of a calibrator's tone in a recording, AES17 dBFS. Refused if no steady tone near 1 kHz
    carries at least nine tenths of the energy, or if it clips. toneSplDb: 94 or 114, say. */
[[nodiscard]] dsp::Result<Calibration> readCalibration(const Recording& recording,
                                                       double toneSplDb);

} // namespace saddletone::measure
