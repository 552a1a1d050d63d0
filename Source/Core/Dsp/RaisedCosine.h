#pragma once

#include <cmath>
#include <numbers>

namespace saddletone::dsp {

/** Half a period of a raised cosine: 0 up to position 0, 1 from position 1 on, 0.5 half way. For fades
    and the edges of windows and bands. */
[[nodiscard]] inline double raisedCosine(double position) noexcept
{
    if (position <= 0.0)
        return 0.0;
    if (position >= 1.0)
        return 1.0;
    return 0.5 - 0.5 * std::cos(std::numbers::pi * position);
}

} // namespace saddletone::dsp
