#include "Core/Ride/WindNoise.h"

#include "Core/Ride/WindModel.h"

#include <algorithm>
#include <cassert>

namespace saddletone::ride {

void WindNoise::prepare(const dsp::ProcessSpec& spec)
{
    noise.prepare(spec.sampleRate);
    for (std::size_t index = 0; index < allHelmets.size(); ++index) {
        const auto power = windPowerPerBin(allHelmets[index], spec.sampleRate, noise.numBins());
        auto& amplitude = amplitudes[index];
        amplitude.resize(power.size());
        std::ranges::transform(power, amplitude.begin(),
                               [this](double meanSquare) { return noise.amplitudeOf(meanSquare); });
    }
    currentHop = noHop;
    reset();
}

void WindNoise::makeSegment(std::uint64_t index) noexcept
{
    const auto helmetIndex = static_cast<std::size_t>(
        std::ranges::find(allHelmets, parameters.helmet) - allHelmets.begin());
    noise.makeSegment(index, amplitudes[helmetIndex], 1.0, nullptr);
}

void WindNoise::enterHop(std::uint64_t hop) noexcept
{
    if (hop == currentHop)
        return;
    // Hop h is the end of segment h and the start of h + 1; so hop 0 has a predecessor.
    if (currentHop == noHop || hop != currentHop + 1)
        makeSegment(hop);
    makeSegment(hop + 1);
    currentHop = hop;
}

void WindNoise::process(dsp::ChannelView<float> output) noexcept
{
    assert(output.numChannels() == numEars);
    const std::size_t hopFrames = noise.hopFrames();
    std::size_t done = 0;
    while (done < output.numFrames()) {
        enterHop(position / hopFrames);
        const auto offset = static_cast<std::size_t>(position % hopFrames);
        const std::size_t count = std::min(hopFrames - offset, output.numFrames() - done);
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            const float* const rising = noise.rising(ear) + offset;
            const float* const falling = noise.falling(ear) + offset;
            float* const out = output[ear].data() + done;
            for (std::size_t frame = 0; frame < count; ++frame)
                out[frame] = rising[frame] + falling[frame];
        }
        position += count;
        done += count;
    }
}

} // namespace saddletone::ride
