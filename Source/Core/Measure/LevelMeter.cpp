#include "Core/Measure/LevelMeter.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>

namespace saddletone::measure {

namespace {

constexpr double peakFallDbPerSecond = 20.0 / 1.7; // IEC 60268-18
constexpr double rmsTimeConstantSeconds = 0.3;

} // namespace

void LevelMeter::prepare(double sampleRate) noexcept
{
    peakFallPerSample = dsp::dbToAmplitude(-peakFallDbPerSecond / sampleRate);
    powerShare = -std::expm1(-1.0 / (rmsTimeConstantSeconds * sampleRate));
    reset();
    clips.store(0, std::memory_order_relaxed);
    clipsAtReset.store(0, std::memory_order_relaxed);
}

void LevelMeter::process(std::span<const float> samples) noexcept
{
    std::uint64_t numNewClips = 0;
    for (const float sample : samples) {
        const bool clipped = isClipped(sample);
        if (clipped && !lastClipped)
            ++numNewClips;
        lastClipped = clipped;
        const double value = std::isfinite(sample) ? std::abs(static_cast<double>(sample)) : 0.0;
        peak = std::max(peak * peakFallPerSample, value);
        power += powerShare * (value * value - power);
    }
    shownPeak.store(peak, std::memory_order_relaxed);
    shownPower.store(power, std::memory_order_relaxed);
    if (numNewClips > 0)
        clips.fetch_add(numNewClips, std::memory_order_relaxed);
}

void LevelMeter::reset() noexcept
{
    peak = 0.0;
    power = 0.0;
    lastClipped = false;
    shownPeak.store(0.0, std::memory_order_relaxed);
    shownPower.store(0.0, std::memory_order_relaxed);
}

double LevelMeter::peakDbfs() const noexcept
{
    return dsp::amplitudeToDb(shownPeak.load(std::memory_order_relaxed));
}

double LevelMeter::rmsDbfs() const noexcept
{
    return dsp::rmsToDbfs(std::sqrt(shownPower.load(std::memory_order_relaxed)));
}

std::uint64_t LevelMeter::numClips() const noexcept
{
    // prepare() may put the count back between the two loads.
    const std::uint64_t atReset = clipsAtReset.load(std::memory_order_relaxed);
    const std::uint64_t now = clips.load(std::memory_order_relaxed);
    return now > atReset ? now - atReset : 0;
}

void LevelMeter::resetClip() noexcept
{
    clipsAtReset.store(clips.load(std::memory_order_relaxed), std::memory_order_relaxed);
}

std::uint64_t LevelMeter::totalClips() const noexcept
{
    return clips.load(std::memory_order_relaxed);
}

} // namespace saddletone::measure
