#pragma once

#include <cassert>
#include <cstddef>
#include <span>

namespace saddletone::dsp {

/** Non-owning view of planar audio: numChannels pointers to numFrames samples each. */
template <typename Sample>
class ChannelView {
public:
    ChannelView(Sample* const* channelPointers, std::size_t channelCount,
                std::size_t frameCount) noexcept
        : pointers(channelPointers), channels(channelCount), frames(frameCount)
    {
    }

    [[nodiscard]] std::size_t numChannels() const noexcept { return channels; }
    [[nodiscard]] std::size_t numFrames() const noexcept { return frames; }

    [[nodiscard]] std::span<Sample> operator[](std::size_t channel) const noexcept
    {
        assert(channel < channels);
        return {pointers[channel], frames};
    }

private:
    Sample* const* pointers;
    std::size_t channels;
    std::size_t frames;
};

} // namespace saddletone::dsp
