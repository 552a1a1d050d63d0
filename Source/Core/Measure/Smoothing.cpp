#include "Core/Measure/Smoothing.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>

namespace saddletone::measure {

double earBandwidthHz(double frequencyHz) noexcept
{
    return 24.7 * (4.37 * frequencyHz / 1000.0 + 1.0);
}

std::vector<double> psychoacousticDb(const Response& response,
                                     std::span<const double> frequenciesHz)
{
    // Bins of at most 0.5 Hz: the narrowest band is 27 Hz wide.
    const std::size_t size = dsp::fastFftSize(std::max(
        response.impulse.size(), static_cast<std::size_t>(std::ceil(response.sampleRate / 0.5))));
    dsp::RealFft<double> fft(size);
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(response.impulse, fft.time().begin());
    fft.forward();
    const auto spectrum = fft.spectrum();
    std::vector<double> sumBelow(spectrum.size() + 1, 0.0);
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
        sumBelow[bin + 1] = sumBelow[bin] + std::norm(spectrum[bin]) * std::norm(spectrum[bin]);
    // Bin k stands for the frequencies from k - 1/2 to k + 1/2.
    const double binHz = response.sampleRate / static_cast<double>(size);
    const auto top = static_cast<double>(spectrum.size()) - 1e-9;
    const auto integral = [&](double position) {
        const auto whole = static_cast<std::size_t>(position);
        return sumBelow[whole]
               + (position - static_cast<double>(whole)) * (sumBelow[whole + 1] - sumBelow[whole]);
    };
    std::vector<double> levels;
    levels.reserve(frequenciesHz.size());
    for (const double frequencyHz : frequenciesHz) {
        const double half = 0.5 * earBandwidthHz(frequencyHz);
        const double lower = std::clamp((frequencyHz - half) / binHz + 0.5, 0.0, top);
        const double upper = std::clamp((frequencyHz + half) / binHz + 0.5, 0.0, top);
        const double mean =
            upper > lower ? (integral(upper) - integral(lower)) / (upper - lower) : 0.0;
        levels.push_back(dsp::powerToDb(std::sqrt(std::max(0.0, mean))));
    }
    return levels;
}

} // namespace saddletone::measure
