#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::measure {

/** A place where sound is missing from a recording. */
struct FoundDropout {
    std::size_t beginFrame = 0;
    std::size_t numFrames = 0;

    bool operator==(const FoundDropout&) const = default;
};

/** Places in a sounding stretch (a sweep) where a recorder or computer lost sound and filled up with
    silence or with a value that stands still: equal samples with sound before and after, for half a
    millisecond or more with a step at either end that the wave itself would not take, or for more
    than 10 ms. The crest of a low wave in coarse steps also stands still, but leaves by one step.
    Sound cut out without being filled up is not found here; it shows as a wrong clock. */
[[nodiscard]] std::vector<FoundDropout> findDropouts(std::span<const float> samples,
                                                     double sampleRate);

} // namespace saddletone::measure
