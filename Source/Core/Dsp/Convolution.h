#pragma once

#include <span>
#include <vector>

namespace saddletone::dsp {

/** Linear convolution of a signal with an impulse response, by one transform over both; not for the
    audio thread. Returns signal.size() + impulse.size() - 1 samples; both must not be empty. */
[[nodiscard]] std::vector<double> convolve(std::span<const double> signal,
                                           std::span<const double> impulse);

} // namespace saddletone::dsp
