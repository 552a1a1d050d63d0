#pragma once

#include "Core/Dsp/FftStore.h"
#include "Core/Dsp/Result.h"
#include "Core/Signals/Signal.h"

#include <span>
#include <string>
#include <vector>

namespace saddletone::measure {

/** Where the two markers of a sweep track stand in a recording. */
struct MarkerPair {
    std::size_t firstFrame = 0; ///< Recorder frame at which the first marker starts, rounded.
    double spacingFrames = 0.0; ///< From first to second, in recorder frames.
    double recorderFramesPerTrackFrame = 1.0;
    double clockPpm = 0.0;      ///< How much faster the recorder's clock runs than the player's.
    double correlation = 0.0;   ///< Of the weaker marker with the ideal one, 0..1.
    double levelChangeDb = 0.0; ///< Second marker re first; other than 0: automatic gain.
};

/** Finds both markers of a track in a recording.

    Each marker is found by normalised correlation in its band; their spacing then comes from
    correlating the two recorded markers with each other, in which the response of bike and place
    cancels, to a small fraction of a sample. Clock differences up to 1000 ppm are found.
    source: what messages call the recording; transforms: where transforms come from. Refused, each with its own reason: no marker, only
    one (recording cut off at its end or start), a spacing that is not the track's (wrong track).
    Of several repeats the one with the clearest markers is returned. */
[[nodiscard]] dsp::Result<MarkerPair> findMarkers(std::span<const float> recording,
                                                  double recordingRate,
                                                  const signals::SignalDescription& track,
                                                  const std::string& source,
                                                  dsp::FftStore& transforms);

/** The same for a recording that may hold several repeats of the track: all of them, in order.
    Repeats whose weaker marker correlates less than half as well as the best one's are left out. */
[[nodiscard]] dsp::Result<std::vector<MarkerPair>>
findAllMarkers(std::span<const float> recording, double recordingRate,
               const signals::SignalDescription& track, const std::string& source,
               dsp::FftStore& transforms);

} // namespace saddletone::measure
