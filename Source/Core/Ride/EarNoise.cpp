#include "Core/Ride/EarNoise.h"

#include "Core/Dsp/RandomSource.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::ride {

namespace {

/** A complex number whose parts are uniform in -1..1. */
std::complex<float> nextBin(dsp::RandomSource& random) noexcept
{
    constexpr float toUnit = 1.0F / 2147483648.0F;
    const std::uint64_t bits = random.nextBits();
    return {toUnit * static_cast<float>(static_cast<std::int32_t>(bits >> 32U)),
            toUnit * static_cast<float>(static_cast<std::int32_t>(bits & 0xFFFFFFFFU))};
}

} // namespace

std::size_t EarNoise::hopFramesAt(double sampleRate) noexcept
{
    // Bins of about 6 Hz: fine enough for the steep low end of the spectrum.
    constexpr double segmentSeconds = 0.16;
    std::size_t frames = 1;
    while (static_cast<double>(2 * frames) < segmentSeconds * sampleRate)
        frames *= 2;
    return frames;
}

void EarNoise::prepare(double sampleRate)
{
    hop = hopFramesAt(sampleRate);
    const std::size_t segmentFrames = 2 * hop;
    fft.clear();
    fft.emplace_back(segmentFrames);
    window.resize(segmentFrames);
    for (std::size_t frame = 0; frame < segmentFrames; ++frame)
        window[frame] =
            static_cast<float>(std::sin(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                                        / static_cast<double>(segmentFrames)));
    for (Segment& segment : segments) {
        for (auto& ear : segment.ears)
            ear.assign(segmentFrames, 0.0F);
        segment.isSilent = true;
    }
}

float EarNoise::amplitudeOf(double meanSquare) const noexcept
{
    // A bin's real and imaginary parts have a variance of 1/3 each; a pair of bins of spectrum
    // value X contributes 2 |X|^2 / size^2 to the mean square.
    return static_cast<float>(static_cast<double>(2 * hop) * std::sqrt(0.75 * meanSquare));
}

void EarNoise::makeSegment(std::uint64_t index, std::span<const float> amplitudes, double gain,
                           const Coherence* coherence) noexcept
{
    assert(amplitudes.size() == numBins());
    newestSlot = 1 - newestSlot;
    Segment& segment = segments[newestSlot];
    if (gain == 0.0) {
        if (!segment.isSilent)
            for (auto& ear : segment.ears)
                std::ranges::fill(ear, 0.0F);
        segment.isSilent = true;
        return;
    }
    segment.isSilent = false;
    const auto gainLinear = static_cast<float>(gain);
    const auto spectrum = fft.front().spectrum();
    const auto time = fft.front().time();
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        dsp::RandomSource random(dsp::mixSeed(seed, index * numEars + ear));
        const std::size_t numShared = ear == 1 && coherence != nullptr ? coherence->numBins : 0;
        dsp::RandomSource other(dsp::mixSeed(seed, index * numEars));
        for (std::size_t bin = 0; bin < numShared; ++bin)
            spectrum[bin] =
                amplitudes[bin]
                * (coherence->shared[bin] * nextBin(other) + coherence->own[bin] * nextBin(random));
        for (std::size_t bin = numShared; bin < spectrum.size(); ++bin)
            spectrum[bin] = amplitudes[bin] * nextBin(random);
        spectrum.front() = 0.0F;
        spectrum.back() = 0.0F;
        fft.front().inverse();
        auto& samples = segment.ears[ear];
        for (std::size_t frame = 0; frame < samples.size(); ++frame)
            samples[frame] = time[frame] * window[frame] * gainLinear;
    }
}

} // namespace saddletone::ride
