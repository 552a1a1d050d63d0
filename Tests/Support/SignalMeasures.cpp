#include "Support/SignalMeasures.h"

#include "Core/Dsp/Fft.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace saddletone::test {

double meanSquare(std::span<const float> samples)
{
    double sum = 0.0;
    for (const float sample : samples)
        sum += static_cast<double>(sample) * static_cast<double>(sample);
    return sum / static_cast<double>(samples.size());
}

double levelDbfs(std::span<const float> samples)
{
    return 10.0 * std::log10(2.0 * meanSquare(samples));
}

std::vector<double> lineSpectrum(std::span<const float> samples)
{
    dsp::RealFft<double> fft(samples.size());
    std::ranges::copy(samples, fft.time().begin());
    fft.forward();
    const auto size = static_cast<double>(samples.size());
    std::vector<double> lines;
    lines.reserve(fft.numBins());
    for (const std::complex<double> bin : fft.spectrum())
        lines.push_back(2.0 * std::norm(bin) / (size * size));
    lines.front() *= 0.5;
    lines.back() *= 0.5;
    return lines;
}

double powerBetween(std::span<const double> lines, double binHz, double fromHz, double toHz)
{
    double sum = 0.0;
    for (std::size_t bin = 0; bin < lines.size(); ++bin) {
        const double centre = static_cast<double>(bin);
        const double inside =
            std::min(toHz / binHz, centre + 0.5) - std::max(fromHz / binHz, centre - 0.5);
        sum += std::clamp(inside, 0.0, 1.0) * lines[bin];
    }
    return sum;
}

double distanceFromNormal(std::span<const float> samples)
{
    std::vector<float> sorted(samples.begin(), samples.end());
    std::ranges::sort(sorted);
    const double rms = std::sqrt(meanSquare(samples));
    const auto count = static_cast<double>(sorted.size());
    double distance = 0.0;
    for (std::size_t rank = 0; rank < sorted.size(); ++rank) {
        const double normal =
            0.5 * std::erfc(-static_cast<double>(sorted[rank]) / (rms * std::numbers::sqrt2));
        const double below = static_cast<double>(rank) / count;
        const double upTo = static_cast<double>(rank + 1) / count;
        distance = std::max({distance, normal - below, upTo - normal});
    }
    return distance;
}

double normalisedFrequencyOf(std::span<const double> samples)
{
    double product = 0.0;
    double square = 0.0;
    for (std::size_t n = 1; n + 1 < samples.size(); ++n) {
        product += samples[n] * (samples[n - 1] + samples[n + 1]);
        square += samples[n] * samples[n];
    }
    return std::acos(0.5 * product / square) / (2.0 * std::numbers::pi);
}

} // namespace saddletone::test
