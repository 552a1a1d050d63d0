#include "Core/Dsp/SignalSums.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>

namespace saddletone::dsp {

namespace {

// Sums and maxima are kept in lanes, which the compiler turns into vectors.
constexpr std::size_t numLanes = 8;

} // namespace

double peakOf(std::span<const float> samples) noexcept
{
    std::array<float, numLanes> peaks {};
    std::size_t frame = 0;
    for (; frame + numLanes <= samples.size(); frame += numLanes)
        for (std::size_t lane = 0; lane < numLanes; ++lane) {
            const float size = std::abs(samples[frame + lane]);
            peaks[lane] = size > peaks[lane] ? size : peaks[lane];
        }
    float peak = std::ranges::max(peaks);
    for (; frame < samples.size(); ++frame)
        peak = std::max(peak, std::abs(samples[frame]));
    return static_cast<double>(peak);
}

double energyOf(std::span<const float> samples) noexcept
{
    std::array<double, numLanes> sums {};
    std::size_t frame = 0;
    for (; frame + numLanes <= samples.size(); frame += numLanes)
        for (std::size_t lane = 0; lane < numLanes; ++lane) {
            const auto sample = static_cast<double>(samples[frame + lane]);
            sums[lane] += sample * sample;
        }
    double energy = std::accumulate(sums.begin(), sums.end(), 0.0);
    for (; frame < samples.size(); ++frame)
        energy += static_cast<double>(samples[frame]) * static_cast<double>(samples[frame]);
    return energy;
}

double sumOf(std::span<const double> values) noexcept
{
    std::array<double, numLanes> sums {};
    std::size_t index = 0;
    for (; index + numLanes <= values.size(); index += numLanes)
        for (std::size_t lane = 0; lane < numLanes; ++lane)
            sums[lane] += values[index + lane];
    const double whole = std::accumulate(sums.begin(), sums.end(), 0.0);
    const auto rest = values.subspan(index);
    return std::accumulate(rest.begin(), rest.end(), whole);
}

} // namespace saddletone::dsp
