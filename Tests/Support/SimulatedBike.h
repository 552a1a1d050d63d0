#pragma once

#include <complex>
#include <cstdint>
#include <vector>

namespace saddletone::test {

/** A bike with a known response, written for the tests alone: an analogue model evaluated in the
    frequency domain, so that the truth is a formula and not another filter implementation. */
class SimulatedBike {
public:
    /** Complex response at a frequency: a small speaker (second-order high-pass at 55 Hz, roll-off
        at 19 kHz), a bass boost, a presence dip, and two reflections. */
    [[nodiscard]] std::complex<double> response(double frequencyHz) const;

    /** 20 log10 of the root mean square of the response over a fraction of an octave. */
    [[nodiscard]] double smoothedDb(double frequencyHz, int numPerOctave) const;

    /** The track as heard through the bike, at the track's own rate and clock, with room for the
        reflections at its end. */
    [[nodiscard]] std::vector<double> play(const std::vector<float>& track,
                                           double sampleRate) const;
};

/** How a simulated recorder takes sound down. */
struct RecorderModel {
    double sampleRate = 48000.0;
    double clockPpm = 0.0;     ///< How much faster its clock runs than the player's.
    double startSeconds = 1.0; ///< Recorded before the track starts.
    double endSeconds = 1.0;   ///< Recorded after it.
    double gain = 1.0;
    double noiseRms = 0.0; ///< White, re full scale.
    std::uint64_t seed = 1;
};

/** What the recorder takes down: band-limited interpolation by windowed sinc (Kaiser, 192 taps) at
    the recorder's own instants. At equal rates, no drift and a whole start frame: a copy. */
[[nodiscard]] std::vector<float> record(const std::vector<double>& sound, double soundRate,
                                        const RecorderModel& recorder);

/** RMS of the part of a signal that is not silent to within -60 dB of its peak. */
[[nodiscard]] double activeRms(const std::vector<double>& signal);

} // namespace saddletone::test
