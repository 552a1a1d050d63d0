#pragma once

#include <cstddef>
#include <vector>

namespace saddletone::signals {

/** A pulse of one sign that rises fast and falls slowly, both as half a raised cosine. The rise
    holds the high frequencies and the area the low ones, so that whichever band of it a speaker
    plays starts with an excursion of the pulse's own sign, and a speaker wired the wrong way round
    with the other. With band edges of up to 12 dB per octave that first excursion is also more than
    half of the largest; behind steeper filters it is smaller than those that follow. */
struct PulseShape {
    /** A tenth of a millisecond reaches tweeters (first zero of its spectrum at 15 kHz), 3 ms is
        short against the period of the lowest bass. */
    double riseSeconds = 0.0001;
    double fallSeconds = 0.003;
    double amplitude = 0.25; ///< Of the peak, linear, re full scale; above 0.
};

/** The pulse with its peak on a sample: numRiseFrames() before it, the fall after it. */
[[nodiscard]] std::vector<double> makePulse(const PulseShape& shape, double sampleRate);
[[nodiscard]] std::size_t numRiseFrames(const PulseShape& shape, double sampleRate) noexcept;

} // namespace saddletone::signals
