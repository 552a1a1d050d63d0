#include "Core/Signals/ShapedNoise.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/RandomSource.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::signals {

namespace {

/** Gain on the power of the topmost third octave that makes up for what Nyquist cuts off it: at
    44.1 kHz the 20 kHz band ends at 22.05 instead of 22.39 kHz and would read 0.3 dB low. */
double topBandGain(const NoiseShape& shape, double nyquistHz)
{
    constexpr double lowerEdgeHz = 17782.794; // of the 20 kHz third octave, IEC 61260-1
    constexpr double upperEdgeHz = 22387.211;
    const double reachedHz = std::min(shape.toHz, nyquistHz);
    if (shape.colour != NoiseColour::pink || shape.toHz < upperEdgeHz || reachedHz >= upperEdgeHz
        || reachedHz <= lowerEdgeHz)
        return 1.0;
    return std::log(upperEdgeHz / lowerEdgeHz) / std::log(reachedHz / lowerEdgeHz);
}

} // namespace

std::vector<float> makeShapedNoise(const NoiseShape& shape, std::size_t numFrames)
{
    assert(numFrames >= 2);
    const std::size_t size = dsp::fastFftSize(numFrames);
    const double binHz = shape.sampleRate / static_cast<double>(size);
    const double nyquistHz = 0.5 * shape.sampleRate;
    const double topGain = topBandGain(shape, nyquistHz);

    dsp::RealFft<double> fft(size);
    dsp::RandomSource random(shape.seed);
    const auto spectrum = fft.spectrum();
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        const double phaseRadians = 2.0 * std::numbers::pi * random.nextUniform();
        double power = 0.0;
        if (bin > 0 && bin + 1 < spectrum.size() && frequencyHz >= shape.fromHz
            && frequencyHz <= shape.toHz) {
            power = shape.colour == NoiseColour::pink ? 1.0 / frequencyHz : 1.0;
            if (frequencyHz > 17782.794)
                power *= topGain;
        }
        spectrum[bin] = std::polar(std::sqrt(power), phaseRadians);
    }
    fft.inverse();

    const auto time = fft.time().first(numFrames);
    double meanSquare = 0.0;
    for (const double sample : time)
        meanSquare += sample * sample;
    meanSquare /= static_cast<double>(numFrames);
    const double gain = meanSquare > 0.0 ? shape.rms / std::sqrt(meanSquare) : 0.0;
    std::vector<float> samples(numFrames);
    std::ranges::transform(time, samples.begin(),
                           [gain](double sample) { return static_cast<float>(sample * gain); });
    return samples;
}

} // namespace saddletone::signals
