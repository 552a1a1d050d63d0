#pragma once

#include "Core/Dsp/OctaveBands.h"
#include "Core/Measure/Response.h"
#include "Core/Signals/Sweep.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::measure {

inline constexpr int highestHarmonic = 5;

/** A recording of a synchronised sweep divided by the sweep's spectrum. */
struct DeconvolvedSweep {
    /** Circular; frame 0 is where a response without delay would stand. */
    std::span<const float> samples;
    std::ptrdiff_t arrivalFrame = 0;
    /** Mean |noise|^2 that a window of unit energy (sum of its squares) passes on, per bin of a
        transform of noiseSize. */
    std::span<const double> noisePerBin;
    std::size_t noiseSize = 0;
    double sampleRate = 48000.0; ///< Recorder frames to a second of the track.
    double trackRate = 48000.0;  ///< Frames of the track to the same second.

    /** Copies the samples from begin on, which may be any whole number: they go round. */
    void copyFrom(std::ptrdiff_t begin, std::span<double> frames) const noexcept;
};

/** Growth constant L of an exponential sweep in seconds: order n stands L ln n before the linear
    response. sampleRate: of the track. */
[[nodiscard]] double sweepGrowthSeconds(const signals::SweepShape& sweep,
                                        double sampleRate) noexcept;

/** Harmonics of orders 2 to 5 against the fundamental (Novak, Lotton and Simon, JAES 63(10), 2015):
    the response of order n stands L ln n ahead and is cut out between its neighbours; its level at
    n f0 is set against the fundamental's at f0, both as means over a third octave. Only magnitudes
    are wanted, so the cut may start on a whole frame.

    Given for fundamentals of the third octaves from fromHz up to toHz / n, and where the cut is long
    enough to hold one period of the band's width; short sweeps tell less at low frequencies.
    The room's decay must be shorter than the orders' distance, or a higher order's tail adds to a
    lower one; L ln(5/4) is the shortest: 0.38 s for 12 s from 20 Hz to 22 kHz. */
[[nodiscard]] std::vector<HarmonicOrder> harmonicDistortion(const DeconvolvedSweep& deconvolved,
                                                            std::span<const double> linearImpulse,
                                                            const signals::SweepShape& sweep,
                                                            double fromHz, double toHz,
                                                            dsp::FftStore& transforms);

/** Several takes of the same: the median over takes per order and frequency. */
[[nodiscard]] std::vector<HarmonicOrder>
medianDistortion(std::span<const std::vector<HarmonicOrder>> takes);

} // namespace saddletone::measure
