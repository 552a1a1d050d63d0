#include "Core/Dsp/MinimumPhase.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>

namespace saddletone::dsp {

std::vector<double> minimumPhaseImpulse(std::span<const double> magnitude)
{
    assert(magnitude.size() >= 2);
    const std::size_t size = 2 * (magnitude.size() - 1);
    const double floor =
        std::max(*std::ranges::max_element(magnitude) * dbToAmplitude(-120.0), 1e-30);

    RealFft<double> fft(size);
    for (std::size_t bin = 0; bin < magnitude.size(); ++bin)
        fft.spectrum()[bin] = std::log(std::max(magnitude[bin], floor));
    fft.inverse();
    // The causal cepstrum of the same log magnitude: its imaginary part is the minimum phase.
    const auto cepstrum = fft.time();
    for (std::size_t n = 1; n < size / 2; ++n)
        cepstrum[n] *= 2.0;
    std::ranges::fill(cepstrum.subspan(size / 2 + 1), 0.0);
    fft.forward();
    for (std::complex<double>& bin : fft.spectrum())
        bin = std::exp(bin);
    fft.inverse();
    return {fft.time().begin(), fft.time().end()};
}

} // namespace saddletone::dsp
