#include "Core/Dsp/Convolution.h"

#include "Core/Dsp/Fft.h"

#include <algorithm>
#include <cassert>
#include <complex>

namespace saddletone::dsp {

std::vector<double> convolve(std::span<const double> signal, std::span<const double> impulse)
{
    assert(!signal.empty() && !impulse.empty());
    const std::size_t length = signal.size() + impulse.size() - 1;
    RealFft<double> fft(fastFftSize(length));
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    const std::vector<std::complex<double>> filter(fft.spectrum().begin(), fft.spectrum().end());
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(signal, fft.time().begin());
    fft.forward();
    for (std::size_t bin = 0; bin < filter.size(); ++bin)
        fft.spectrum()[bin] *= filter[bin];
    fft.inverse();
    const auto result = fft.time().first(length);
    return {result.begin(), result.end()};
}

} // namespace saddletone::dsp
