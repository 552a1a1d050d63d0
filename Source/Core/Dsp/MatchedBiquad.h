#pragma once

#include "Core/Dsp/AnalogueSection.h"
#include "Core/Dsp/Biquad.h"

#include <span>
#include <vector>

namespace saddletone::dsp {

/** The digital section of an analogue one by the bilinear transform, exact at the section's
    frequency; everything above is squeezed in below Nyquist. The frequency is kept below 0.4998 of
    the sample rate. */
[[nodiscard]] BiquadCoefficients bilinearBiquad(const AnalogueSection& section,
                                                double sampleRate) noexcept;

/** One biquad is spent as long as its magnitude is this close to the prototype, else a section of
    first order more. */
inline constexpr double matchedToleranceDb = 0.1;

/** Digital sections with the magnitude of an analogue one, without the squeeze: |H|^2 is fitted
    as a rational function of sin^2(w/2) in the least squares of its relative error, up to 0.4535 of
    the sample rate (20 kHz at 44.1 kHz), and factored into minimum phase. Zeros at 0 Hz and those
    of a notch stay where they are. One section (first or second order as the prototype) where that
    is within matchedToleranceDb, else two. Largest error up to 20 kHz at 44.1 kHz, where the
    prototype stands above -30 dB, for 20 Hz to 16 kHz, q from 0.3 to 8 and up to 12 dB of boost or
    cut: 0.11 dB for one section, 0.3 dB for passes up to order 8.

    An all-pass has its magnitude exactly and is fitted in phase; as no filter that looks only back
    can keep the prototype's phase up to Nyquist, it strays by a few degrees per 1/20 of the sample
    rate. What cannot be fitted falls back to bilinearBiquad(): an all-pass above Nyquist. */
[[nodiscard]] std::vector<BiquadCoefficients> matchedBiquads(const AnalogueSection& section,
                                                             double sampleRate);

/** Samples by which digital sections run ahead of their prototype. A low-pass loses the lag that
    the prototype's fall beyond Nyquist would bring, about 0.75 samples at order 2, evenly over
    frequency; a delay of as much gives its phase back, without which the ways of a crossover would
    not add up. Little for anything else. */
[[nodiscard]] double leadSamples(const AnalogueSection& section,
                                 std::span<const BiquadCoefficients> designed,
                                 double sampleRate) noexcept;

} // namespace saddletone::dsp
