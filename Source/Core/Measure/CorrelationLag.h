#pragma once

#include "Core/Signals/Sweep.h"

#include <complex>
#include <span>

namespace saddletone::measure {

/** Weight of a frequency in searches for a marker: 1 in the marker's band, 0 outside, soft edges. */
[[nodiscard]] double markerBand(const signals::MarkerShape& marker, double frequencyHz) noexcept;

/** Refines the lag, in frames, at which a correlation is largest, by Newton's method on its slope.
    cross: half spectrum of the correlation, conj(first) second, of a transform of size frames;
    startLag: the whole frame of the largest value. Bins outside firstBin to lastBin do not count. */
[[nodiscard]] double refineLag(std::span<const std::complex<double>> cross, std::size_t size,
                               double startLag, std::size_t firstBin, std::size_t lastBin) noexcept;

} // namespace saddletone::measure
