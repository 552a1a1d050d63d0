#pragma once

#include <complex>
#include <span>
#include <vector>

namespace saddletone::dsp {

/** A second-order section, a0 = 1: y = b0 x + b1 x' + b2 x'' - a1 y' - a2 y''. */
struct BiquadCoefficients {
    double b0 = 1.0;
    double b1 = 0.0;
    double b2 = 0.0;
    double a1 = 0.0;
    double a2 = 0.0;

    bool operator==(const BiquadCoefficients&) const = default;

    /** Complex gain at a frequency. */
    [[nodiscard]] std::complex<double> response(double frequencyHz,
                                                double sampleRate) const noexcept;
};

// Passes after R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients";
// frequencyHz is kept below 0.4998 of the sample rate. Other filters: MatchedBiquad.h.

/** Second-order passes by bilinear transform; q = 0.7071 is Butterworth. */
[[nodiscard]] BiquadCoefficients designHighPass(double frequencyHz, double q,
                                                double sampleRate) noexcept;
[[nodiscard]] BiquadCoefficients designLowPass(double frequencyHz, double q,
                                               double sampleRate) noexcept;

/** First-order passes; -3 dB at frequencyHz. */
[[nodiscard]] BiquadCoefficients designFirstOrderHighPass(double frequencyHz,
                                                          double sampleRate) noexcept;
[[nodiscard]] BiquadCoefficients designFirstOrderLowPass(double frequencyHz,
                                                         double sampleRate) noexcept;

/** The q that gives a shelf the slope S of the cookbook at a gain; slope: above 0, up to 1. */
[[nodiscard]] double shelfSlopeToQ(double slope, double gainDb) noexcept;

/** Poles of a Butterworth low-pass or high-pass of an order (1 to 8) as the q of each
    second-order section, ascending; an odd order has one further first-order section. */
[[nodiscard]] std::vector<double> butterworthQs(int order);

/** Runs one section over a signal in double precision (transposed direct form II), in place. */
void filterInPlace(const BiquadCoefficients& coefficients, std::span<double> samples) noexcept;

} // namespace saddletone::dsp
