#pragma once

#include <span>
#include <vector>

namespace saddletone::dsp {

/** Impulse response of minimum phase with a given magnitude, by the real cepstrum (Oppenheim and
    Schafer, Discrete-Time Signal Processing).
    magnitude: linear, evenly spaced from 0 Hz to Nyquist, 2^n + 1 values; values more than 120 dB
    below the largest are raised to that. Returns 2^(n+1) taps. The magnitude should be smooth at
    the spacing given, or the cepstrum wraps. */
[[nodiscard]] std::vector<double> minimumPhaseImpulse(std::span<const double> magnitude);

} // namespace saddletone::dsp
