#include "Core/Measure/RecordingChecks.h"

#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/SignalSums.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

namespace saddletone::measure {

namespace {

/** The peaks of a recording's short stretches, from which loud places are found without reading all
    of it again. */
class StretchPeaks {
public:
    explicit StretchPeaks(std::span<const float> recording)
        : samples(recording), peaks((samples.size() + stretchFrames - 1) / stretchFrames)
    {
        constexpr std::size_t stretchesAtOnce = 1024;
        dsp::runInParallel(
            (peaks.size() + stretchesAtOnce - 1) / stretchesAtOnce, [&](std::size_t task) {
                const std::size_t first = task * stretchesAtOnce;
                const std::size_t last = std::min(first + stretchesAtOnce, peaks.size());
                for (std::size_t stretch = first; stretch < last; ++stretch)
                    peaks[stretch] = peakOf(stretch * stretchFrames);
            });
    }

    [[nodiscard]] double highest() const { return peaks.empty() ? 0.0 : std::ranges::max(peaks); }

    /** The first frame from begin on that reaches a level either way; the number of frames if none. */
    [[nodiscard]] std::size_t findLoud(std::size_t begin, double level) const
    {
        while (begin < samples.size()) {
            const std::size_t end =
                std::min((begin / stretchFrames + 1) * stretchFrames, samples.size());
            if (peaks[begin / stretchFrames] >= level)
                for (; begin < end; ++begin)
                    if (std::abs(static_cast<double>(samples[begin])) >= level)
                        return begin;
            begin = end;
        }
        return samples.size();
    }

private:
    static constexpr std::size_t stretchFrames = 512;

    [[nodiscard]] double peakOf(std::size_t begin) const
    {
        return dsp::peakOf(samples.subspan(begin, std::min(stretchFrames, samples.size() - begin)));
    }

    std::span<const float> samples;
    std::vector<double> peaks;
};

dsp::Result<void> checkNotSilent(const StretchPeaks& peaks, const std::string& source)
{
    const double peakDbfs = dsp::amplitudeToDb(peaks.highest());
    if (peakDbfs < -60.0)
        return dsp::fail(
            dsp::ErrorCode::notTrustworthy,
            "recording '" + source + "': silent or far too quiet (peak "
                + (peakDbfs <= -399.0 ? std::string("none at all")
                                      : files::fixedText(peakDbfs, 1) + " dBFS")
                + "); check input, gain and volume, and aim for peaks of -20 to -6 dBFS");
    return {};
}

dsp::Result<void> checkNotDamaged(std::span<const float> samples, const StretchPeaks& peaks,
                                  double sampleRate, const std::string& source)
{
    constexpr double highestSample = 100.0;
    const std::size_t damaged = peaks.findLoud(0, highestSample);
    if (damaged == samples.size())
        return {};
    return dsp::fail(dsp::ErrorCode::notTrustworthy,
                     "recording '" + source + "': damaged, a sample at "
                         + files::fixedText(static_cast<double>(damaged) / sampleRate, 3)
                         + " s stands "
                         + files::fixedText(
                             dsp::amplitudeToDb(std::abs(static_cast<double>(samples[damaged]))), 0)
                         + " dB over full scale; copy the file anew or record again");
}

dsp::Result<void> checkNotClipped(std::span<const float> samples, const StretchPeaks& peaks,
                                  double sampleRate, const std::string& source)
{
    // A sine stays within 0.05 % of its peak for 2 % of a half-wave; cut off by a mere 0.2 dB it
    // stays there for 13 %. Half-waves too short to show a run of three samples tell nothing.
    constexpr double nearPeak = 0.9995;
    constexpr double flatShare = 0.12;
    constexpr std::size_t shortestRun = 3;
    constexpr std::size_t mostAccepted = 3;
    const double level = nearPeak * peaks.highest();
    if (level <= 0.0)
        return {};

    std::size_t numClipped = 0;
    std::size_t firstClipped = 0;
    std::size_t halfWaveEnd = 0;
    for (std::size_t loud = peaks.findLoud(0, level); loud < samples.size();
         loud = peaks.findLoud(halfWaveEnd, level)) {
        const bool negative = samples[loud] < 0.0F;
        std::size_t halfWaveBegin = loud;
        while (halfWaveBegin > halfWaveEnd && (samples[halfWaveBegin - 1] < 0.0F) == negative)
            --halfWaveBegin;
        std::size_t run = 0;
        std::size_t longestRun = 0;
        for (halfWaveEnd = loud;
             halfWaveEnd < samples.size() && (samples[halfWaveEnd] < 0.0F) == negative;
             ++halfWaveEnd) {
            run = std::abs(static_cast<double>(samples[halfWaveEnd])) >= level ? run + 1 : 0;
            longestRun = std::max(longestRun, run);
        }
        const auto numFrames = static_cast<double>(halfWaveEnd - halfWaveBegin);
        if (longestRun >= shortestRun && static_cast<double>(longestRun) > flatShare * numFrames) {
            if (numClipped == 0)
                firstClipped = halfWaveEnd;
            ++numClipped;
        }
    }
    if (numClipped <= mostAccepted)
        return {};
    return dsp::fail(dsp::ErrorCode::notTrustworthy,
                     "recording '" + source + "': clipped, " + std::to_string(numClipped)
                         + " half-waves are cut off flat (the first at "
                         + files::fixedText(static_cast<double>(firstClipped) / sampleRate, 2)
                         + " s); lower the recorder's gain and record again");
}

} // namespace

std::span<const float> loudestChannel(const dsp::AudioBuffer& audio)
{
    std::vector<double> energies(audio.numChannels());
    dsp::runInParallel(energies.size(), [&](std::size_t channel) {
        energies[channel] = dsp::energyOf(audio.channels[channel]);
    });
    return audio
        .channels[static_cast<std::size_t>(std::ranges::max_element(energies) - energies.begin())];
}

dsp::Result<void> checkNotSilent(std::span<const float> samples, const std::string& source)
{
    return checkNotSilent(StretchPeaks(samples), source);
}

dsp::Result<void> checkNotDamaged(std::span<const float> samples, double sampleRate,
                                  const std::string& source)
{
    return checkNotDamaged(samples, StretchPeaks(samples), sampleRate, source);
}

dsp::Result<void> checkNotClipped(std::span<const float> samples, double sampleRate,
                                  const std::string& source)
{
    return checkNotClipped(samples, StretchPeaks(samples), sampleRate, source);
}

dsp::Result<void> checkUsable(std::span<const float> samples, double sampleRate,
                              const std::string& source)
{
    const StretchPeaks peaks(samples);
    if (auto check = checkNotSilent(peaks, source); !check)
        return check;
    if (auto check = checkNotDamaged(samples, peaks, sampleRate, source); !check)
        return check;
    return checkNotClipped(samples, peaks, sampleRate, source);
}

} // namespace saddletone::measure
