#include "Core/Measure/RecordingChecks.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>

namespace saddletone::measure {

namespace {

double peakOf(std::span<const double> samples)
{
    double peak = 0.0;
    for (const double sample : samples)
        peak = std::max(peak, std::abs(sample));
    return peak;
}

} // namespace

std::vector<double> loudestChannel(const dsp::AudioBuffer& audio)
{
    std::size_t loudest = 0;
    double mostEnergy = -1.0;
    for (std::size_t channel = 0; channel < audio.numChannels(); ++channel) {
        double energy = 0.0;
        for (const float sample : audio.channels[channel])
            energy += static_cast<double>(sample) * static_cast<double>(sample);
        if (energy > mostEnergy) {
            mostEnergy = energy;
            loudest = channel;
        }
    }
    return {audio.channels[loudest].begin(), audio.channels[loudest].end()};
}

dsp::Result<void> checkNotSilent(std::span<const double> samples, const std::string& source)
{
    const double peakDbfs = dsp::amplitudeToDb(peakOf(samples));
    if (peakDbfs < -60.0)
        return dsp::fail(
            dsp::ErrorCode::notTrustworthy,
            "recording '" + source + "': silent or far too quiet (peak "
                + (peakDbfs <= -399.0 ? std::string("none at all")
                                      : files::fixedText(peakDbfs, 1) + " dBFS")
                + "); check input, gain and volume, and aim for peaks of -20 to -6 dBFS");
    return {};
}

dsp::Result<void> checkNotClipped(std::span<const double> samples, double sampleRate,
                                  const std::string& source)
{
    // A sine stays within 0.05 % of its peak for 2 % of a half-wave; cut off by a mere 0.2 dB it
    // stays there for 13 %. Half-waves too short to show a run of three samples tell nothing.
    constexpr double nearPeak = 0.9995;
    constexpr double flatShare = 0.12;
    constexpr std::size_t shortestRun = 3;
    constexpr std::size_t mostAccepted = 3;
    const double level = nearPeak * peakOf(samples);
    if (level <= 0.0)
        return {};

    std::size_t numClipped = 0;
    std::size_t firstClipped = 0;
    std::size_t halfWaveBegin = 0;
    std::size_t run = 0;
    std::size_t longestRun = 0;
    for (std::size_t frame = 1; frame <= samples.size(); ++frame) {
        const bool ends =
            frame == samples.size() || (samples[frame] < 0.0) != (samples[frame - 1] < 0.0);
        run = std::abs(samples[frame - 1]) >= level ? run + 1 : 0;
        longestRun = std::max(longestRun, run);
        if (!ends)
            continue;
        const auto halfWave = static_cast<double>(frame - halfWaveBegin);
        if (longestRun >= shortestRun && static_cast<double>(longestRun) > flatShare * halfWave) {
            if (numClipped == 0)
                firstClipped = frame;
            ++numClipped;
        }
        halfWaveBegin = frame;
        run = 0;
        longestRun = 0;
    }
    if (numClipped <= mostAccepted)
        return {};
    return dsp::fail(dsp::ErrorCode::notTrustworthy,
                     "recording '" + source + "': clipped, " + std::to_string(numClipped)
                         + " half-waves are cut off flat (the first at "
                         + files::fixedText(static_cast<double>(firstClipped) / sampleRate, 2)
                         + " s); lower the recorder's gain and record again");
}

} // namespace saddletone::measure
