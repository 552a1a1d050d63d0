#include "Core/Signals/Fade.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace saddletone::signals {

void fadeEnds(std::span<double> samples, std::size_t fadeInFrames,
              std::size_t fadeOutFrames) noexcept
{
    const auto raisedCosine = [](std::size_t frame, std::size_t length) {
        return 0.5
               - 0.5
                     * std::cos(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                                / static_cast<double>(length));
    };
    for (std::size_t frame = 0; frame < std::min(fadeInFrames, samples.size()); ++frame)
        samples[frame] *= raisedCosine(frame, fadeInFrames);
    for (std::size_t frame = 0; frame < std::min(fadeOutFrames, samples.size()); ++frame)
        samples[samples.size() - 1 - frame] *= raisedCosine(frame, fadeOutFrames);
}

} // namespace saddletone::signals
