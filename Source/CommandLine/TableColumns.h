#pragma once

#include <complex>
#include <vector>

namespace saddletone::commandline {

/** Frequencies of tables: twenty-fourths of an octave within a range. */
[[nodiscard]] std::vector<double> tableFrequencies(double fromHz, double toHz);

[[nodiscard]] std::vector<double> phasesDegrees(const std::vector<std::complex<double>>& values);

} // namespace saddletone::commandline
