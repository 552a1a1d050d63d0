#include "Core/Ride/WindNoise.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Ride/WindModel.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::ride {

void WindNoise::prepare(const dsp::ProcessSpec& spec)
{
    // Bins of about 6 Hz: fine enough for the steep low end of the spectrum.
    constexpr double segmentSeconds = 0.16;
    hopFrames = 1;
    while (static_cast<double>(2 * hopFrames) < segmentSeconds * spec.sampleRate)
        hopFrames *= 2;
    const std::size_t segmentFrames = 2 * hopFrames;

    fft.clear();
    fft.emplace_back(segmentFrames);
    window.resize(segmentFrames);
    for (std::size_t frame = 0; frame < segmentFrames; ++frame)
        window[frame] =
            static_cast<float>(std::sin(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                                        / static_cast<double>(segmentFrames)));

    // A bin's real and imaginary parts are uniform in -1..1 (variance 1/3 each); a pair of bins
    // of spectrum value X contributes 2 |X|^2 / size^2 to the mean square.
    for (std::size_t index = 0; index < allHelmets.size(); ++index) {
        const auto power = windPowerPerBin(allHelmets[index], spec.sampleRate, hopFrames + 1);
        auto& amplitude = amplitudes[index];
        amplitude.resize(power.size());
        std::ranges::transform(power, amplitude.begin(), [&](double meanSquare) {
            return static_cast<float>(static_cast<double>(segmentFrames)
                                      * std::sqrt(0.75 * meanSquare));
        });
        amplitude.front() = 0.0F;
        amplitude.back() = 0.0F;
    }
    for (auto& slot : segments)
        for (auto& ear : slot)
            ear.assign(segmentFrames, 0.0F);
    currentHop = noHop;
    reset();
}

void WindNoise::makeSegment(std::uint64_t index, std::size_t slot) noexcept
{
    const auto helmetIndex = static_cast<std::size_t>(
        std::ranges::find(allHelmets, parameters.helmet) - allHelmets.begin());
    const std::vector<float>& amplitude = amplitudes[helmetIndex];
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        dsp::RandomSource random(dsp::mixSeed(seed, index * numEars + ear));
        const auto spectrum = fft.front().spectrum();
        constexpr float toUnit = 1.0F / 2147483648.0F;
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin) {
            const std::uint64_t bits = random.nextBits();
            const auto real = static_cast<float>(static_cast<std::int32_t>(bits >> 32U));
            const auto imag = static_cast<float>(static_cast<std::int32_t>(bits & 0xFFFFFFFFU));
            spectrum[bin] = {amplitude[bin] * toUnit * real, amplitude[bin] * toUnit * imag};
        }
        fft.front().inverse();
        const auto time = fft.front().time();
        auto& segment = segments[slot][ear];
        for (std::size_t frame = 0; frame < segment.size(); ++frame)
            segment[frame] = time[frame] * window[frame];
    }
}

void WindNoise::enterHop(std::uint64_t hop) noexcept
{
    if (hop == currentHop)
        return;
    // Segment k covers hops k and k + 1, so hop h is the end of segment h - 1 and the start of h;
    // numbered from 1 here to let hop 0 have a predecessor.
    if (currentHop == noHop || hop != currentHop + 1)
        makeSegment(hop, newestSlot);
    newestSlot = 1 - newestSlot;
    makeSegment(hop + 1, newestSlot);
    currentHop = hop;
}

void WindNoise::process(dsp::ChannelView<float> output) noexcept
{
    assert(output.numChannels() == numEars);
    std::size_t done = 0;
    while (done < output.numFrames()) {
        enterHop(position / hopFrames);
        const auto offset = static_cast<std::size_t>(position % hopFrames);
        const std::size_t count = std::min(hopFrames - offset, output.numFrames() - done);
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            const float* const rising = segments[newestSlot][ear].data() + offset;
            const float* const falling = segments[1 - newestSlot][ear].data() + hopFrames + offset;
            float* const out = output[ear].data() + done;
            for (std::size_t frame = 0; frame < count; ++frame)
                out[frame] = rising[frame] + falling[frame];
        }
        position += count;
        done += count;
    }
}

} // namespace saddletone::ride
