#pragma once

#include "Core/Measure/Response.h"

#include <span>
#include <vector>

namespace saddletone::measure {

/** Equivalent rectangular bandwidth of the ear's filter at a frequency: 24.7 (4.37 f / 1000 + 1) Hz
    (Glasberg and Moore, Hearing Research 47, 1990). */
[[nodiscard]] double earBandwidthHz(double frequencyHz) noexcept;

/** Magnitude in dB at the given frequencies as the ear weighs it, for display only: the mean of the
    fourth power of the magnitude over one equivalent rectangular bandwidth, its fourth root. Peaks
    count more than dips, since a narrow peak is heard sooner than a dip of the same height (common
    practice, no source); the exponent 4 is judgement. */
[[nodiscard]] std::vector<double> psychoacousticDb(const Response& response,
                                                   std::span<const double> frequenciesHz);

} // namespace saddletone::measure
