#pragma once

#include "Core/Dsp/FftStore.h"
#include "Core/Signals/Sweep.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::measure {

/** A place in a recording that looks like a marker. */
struct MarkerPeak {
    std::size_t frame = 0;    ///< Where the marker starts.
    double correlation = 0.0; ///< With the ideal marker, normalised, 0..1.
};

/** Leaves the highest of peaks that stand closer than minSpacing frames to each other, and no more
    than mostPeaks of all. Sorted, highest first. */
[[nodiscard]] std::vector<MarkerPeak> keepHighest(std::vector<MarkerPeak> peaks,
                                                  std::size_t minSpacing, std::size_t mostPeaks);

/** Looks through a whole recording for markers, quickly and to about a tenth of a millisecond.

    The envelope of the correlation within the marker's band, at a rate little above the band's
    width and in single precision. It misses up to 3 dB of a peak between two values; so all above
    proposalThreshold are given, no two within half a marker, and whoever asks looks closer. */
[[nodiscard]] std::vector<MarkerPeak> proposeMarkers(std::span<const float> recording,
                                                     double recordingRate,
                                                     const signals::MarkerShape& shape,
                                                     dsp::FftStore& transforms);

/** Two thirds of what is taken for a marker in the end, and above what noise reaches by chance. */
inline constexpr double proposalThreshold = 0.13;

} // namespace saddletone::measure
