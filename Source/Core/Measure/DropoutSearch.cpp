#include "Core/Measure/DropoutSearch.h"

#include "Core/Dsp/Parallel.h"

#include <algorithm>
#include <cmath>

namespace saddletone::measure {

namespace {

constexpr double shortestSeconds = 0.0005;
constexpr std::size_t fewestFrames = 8;
constexpr double certainSeconds = 0.01;  // the crest of 20 Hz at -60 dBFS in 16 bits: 3 ms
constexpr double contextSeconds = 0.03;  // a period and a half of 50 Hz
constexpr double leastStepShare = 0.05;  // of the context's RMS, where the run begins or ends
constexpr double leastContextRms = 1e-3; // a twentieth of it is more than one step of 16 bits

double rmsOf(std::span<const float> samples)
{
    if (samples.empty())
        return 0.0;
    double sum = 0.0;
    for (const float sample : samples)
        sum += static_cast<double>(sample) * static_cast<double>(sample);
    return std::sqrt(sum / static_cast<double>(samples.size()));
}

/** The run has sound on both sides and is left or entered by a step. */
bool isDropout(std::span<const float> samples, std::size_t begin, std::size_t end,
               double sampleRate)
{
    const auto context = static_cast<std::size_t>(contextSeconds * sampleRate);
    if (begin == 0 || end == samples.size())
        return false;
    const double before =
        rmsOf(samples.subspan(begin - std::min(begin, context), std::min(begin, context)));
    const double after = rmsOf(samples.subspan(end, std::min(samples.size() - end, context)));
    if (std::min(before, after) < leastContextRms)
        return false;
    const double held = static_cast<double>(samples[begin]);
    return static_cast<double>(end - begin) > certainSeconds * sampleRate
           || std::abs(static_cast<double>(samples[begin - 1]) - held) > leastStepShare * before
           || std::abs(static_cast<double>(samples[end]) - held) > leastStepShare * after;
}

/** Dropouts whose first sample lies from begin to before end. */
std::vector<FoundDropout> dropoutsFrom(std::span<const float> samples, std::size_t begin,
                                       std::size_t end, double sampleRate)
{
    const std::size_t shortest =
        std::max(fewestFrames, static_cast<std::size_t>(shortestSeconds * sampleRate));
    std::vector<FoundDropout> dropouts;
    // A run that has begun before is another stretch's.
    while (begin > 0 && begin < end && samples[begin] == samples[begin - 1])
        ++begin;
    while (begin < end && begin + shortest <= samples.size()) {
        // Most stretches move: one look at their last sample tells, and they are skipped whole.
        if (samples[begin + shortest - 1] != samples[begin]) {
            std::size_t next = begin + shortest - 1;
            while (next > begin + 1 && samples[next - 1] == samples[next])
                --next;
            begin = next;
            continue;
        }
        std::size_t runEnd = begin + 1;
        while (runEnd < samples.size() && samples[runEnd] == samples[begin])
            ++runEnd;
        if (runEnd - begin >= shortest && isDropout(samples, begin, runEnd, sampleRate))
            dropouts.push_back({begin, runEnd - begin});
        begin = runEnd;
    }
    return dropouts;
}

} // namespace

std::vector<FoundDropout> findDropouts(std::span<const float> samples, double sampleRate)
{
    constexpr std::size_t framesAtOnce = std::size_t {1} << 17U;
    std::vector<std::vector<FoundDropout>> found((samples.size() + framesAtOnce - 1)
                                                 / framesAtOnce);
    dsp::runInParallel(found.size(), [&](std::size_t stretch) {
        const std::size_t begin = stretch * framesAtOnce;
        found[stretch] = dropoutsFrom(samples, begin,
                                      std::min(samples.size(), begin + framesAtOnce), sampleRate);
    });
    std::vector<FoundDropout> dropouts;
    for (const auto& ofStretch : found)
        dropouts.insert(dropouts.end(), ofStretch.begin(), ofStretch.end());
    return dropouts;
}

} // namespace saddletone::measure
