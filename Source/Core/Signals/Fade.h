#pragma once

#include <cstddef>
#include <span>

namespace saddletone::signals {

/** Raised-cosine fades at the two ends, in place; a fade longer than the samples is cut off. */
void fadeEnds(std::span<double> samples, std::size_t fadeInFrames,
              std::size_t fadeOutFrames) noexcept;

} // namespace saddletone::signals
