#pragma once

#include <span>

namespace saddletone::dsp {

/** Largest magnitude of a signal; 0 if it has no samples. */
[[nodiscard]] double peakOf(std::span<const float> samples) noexcept;

/** Sum of squares. The order of the additions depends on the number of samples alone. */
[[nodiscard]] double energyOf(std::span<const float> samples) noexcept;

/** Sum. The order of the additions depends on the number of values alone. */
[[nodiscard]] double sumOf(std::span<const double> values) noexcept;

} // namespace saddletone::dsp
