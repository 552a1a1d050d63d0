#include "Support/EngineNoise.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RandomSource.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::test {

std::vector<double> makeEngineNoise(const EngineNoise& noise, std::size_t numFrames)
{
    dsp::RandomSource random(noise.seed);
    dsp::RealFft<double> fft(dsp::fastFftSize(numFrames));
    const double binHz = noise.sampleRate / static_cast<double>(fft.size());

    // Harmonics: one wandering phase, each with an offset of its own; the recurrence
    // cos(n x + o_n) is summed over orders below 1.5 kHz, where engines have lines.
    const auto numHarmonics =
        static_cast<std::size_t>(std::min(1500.0, 0.45 * noise.sampleRate) / noise.firingHz);
    std::vector<std::complex<double>> offsets(numHarmonics);
    for (auto& offset : offsets)
        offset = std::polar(1.0, 2.0 * std::numbers::pi * random.nextUniform());
    double phase = 0.0;
    double wander = 0.0;
    const double memory = std::exp(-1.0 / (0.3 * noise.sampleRate));
    for (std::size_t frame = 0; frame < fft.size(); ++frame) {
        wander = memory * wander + std::sqrt(1.0 - memory * memory) * random.nextGaussian();
        phase += 2.0 * std::numbers::pi * noise.firingHz * (1.0 + 0.01 * wander) / noise.sampleRate;
        const std::complex<double> step = std::polar(1.0, phase);
        std::complex<double> power = step;
        double sum = 0.0;
        for (const auto& offset : offsets) {
            sum += (power * offset).real();
            power *= step;
        }
        // A harmonic of amplitude 1 has as much power as white noise of its share of the band.
        const double floor =
            std::sqrt(0.25 * noise.sampleRate / noise.firingHz) * random.nextGaussian();
        fft.time()[frame] = sum + floor;
    }
    fft.forward();
    const SimulatedBike bike;
    for (const dsp::Band& band : dsp::octaveBands(3, 20.0, 20000.0)) {
        const auto first = static_cast<std::size_t>(std::ceil(band.lowerHz / binHz));
        const auto last =
            std::min(static_cast<std::size_t>(std::ceil(band.upperHz / binHz)), fft.numBins() - 1);
        double power = 0.0;
        double gain = 0.0;
        for (std::size_t bin = first; bin < last; ++bin) {
            power += 2.0 * std::norm(fft.spectrum()[bin])
                     / (static_cast<double>(fft.size()) * static_cast<double>(fft.size()));
            gain += std::norm(bike.response(static_cast<double>(bin) * binHz))
                    / static_cast<double>(last - first);
        }
        const double wanted = 0.5 * noise.sweepAmplitude * noise.sweepAmplitude * gain
                              * std::pow(10.0, -noise.belowSweepDb / 10.0);
        for (std::size_t bin = first; bin < last; ++bin)
            fft.spectrum()[bin] *= std::sqrt(wanted / power);
    }
    const auto below = static_cast<std::size_t>(17.78 / binHz);
    for (std::size_t bin = 0; bin <= below; ++bin)
        fft.spectrum()[bin] = 0.0;
    fft.inverse();
    return {fft.time().begin(), fft.time().begin() + static_cast<std::ptrdiff_t>(numFrames)};
}

} // namespace saddletone::test
