#pragma once

#include <cstddef>

namespace saddletone::dsp {

/** What a processor is prepared for. process() then takes 0 to maxBlockFrames frames. */
struct ProcessSpec {
    double sampleRate = 48000.0;
    std::size_t maxBlockFrames = 512;
    std::size_t numChannels = 2;

    bool operator==(const ProcessSpec&) const = default;
};

} // namespace saddletone::dsp
