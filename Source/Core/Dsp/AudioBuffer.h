#pragma once

#include <cstddef>
#include <vector>

namespace saddletone::dsp {

/** Audio held in memory: planar, linear samples, 1.0 = digital full scale.
    Every channel has the same number of frames. */
struct AudioBuffer {
    double sampleRate = 48000.0;
    std::vector<std::vector<float>> channels;

    [[nodiscard]] std::size_t numChannels() const noexcept { return channels.size(); }
    [[nodiscard]] std::size_t numFrames() const noexcept
    {
        return channels.empty() ? 0 : channels.front().size();
    }
    [[nodiscard]] double durationSeconds() const noexcept
    {
        return static_cast<double>(numFrames()) / sampleRate;
    }

    bool operator==(const AudioBuffer&) const = default;
};

/** A silent buffer of the given shape. */
[[nodiscard]] inline AudioBuffer makeSilence(double sampleRate, std::size_t numChannels,
                                             std::size_t numFrames)
{
    return {sampleRate,
            std::vector<std::vector<float>>(numChannels, std::vector<float>(numFrames))};
}

} // namespace saddletone::dsp
