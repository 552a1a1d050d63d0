#include "Support/ProgrammeMeasures.h"

#include "Core/Signals/ShapedNoise.h"
#include "Support/SignalMeasures.h"

#include <ebur128.h>

#include <cmath>
#include <numbers>
#include <stdexcept>
#include <vector>

namespace saddletone::test {

double aWeightingDb(double frequencyHz)
{
    constexpr double f1 = 20.60;
    constexpr double f2 = 107.7;
    constexpr double f3 = 737.9;
    constexpr double f4 = 12194.0;
    constexpr double normalisationDb = -2.000;
    const double square = frequencyHz * frequencyHz;
    const double ratio = f4 * f4 * square * square
                         / ((square + f1 * f1) * std::sqrt(square + f2 * f2)
                            * std::sqrt(square + f3 * f3) * (square + f4 * f4));
    return 20.0 * std::log10(ratio) - normalisationDb;
}

double levelDbfsA(std::span<const float> samples, double sampleRate)
{
    const auto lines = lineSpectrum(samples);
    const double binHz = sampleRate / static_cast<double>(samples.size());
    double power = 0.0;
    for (std::size_t bin = 1; bin < lines.size(); ++bin)
        power += lines[bin] * std::pow(10.0, 0.1 * aWeightingDb(binHz * static_cast<double>(bin)));
    return 10.0 * std::log10(2.0 * power);
}

double loudnessLufs(std::span<const float> left, std::span<const float> right, double sampleRate)
{
    std::vector<float> interleaved;
    interleaved.reserve(2 * left.size());
    for (std::size_t frame = 0; frame < left.size(); ++frame) {
        interleaved.push_back(left[frame]);
        interleaved.push_back(right[frame]);
    }
    ebur128_state* meter =
        ebur128_init(2, static_cast<unsigned long>(std::lround(sampleRate)), EBUR128_MODE_I);
    double loudness = 0.0;
    const bool measured =
        meter != nullptr
        && ebur128_add_frames_float(meter, interleaved.data(), left.size()) == EBUR128_SUCCESS
        && ebur128_loudness_global(meter, &loudness) == EBUR128_SUCCESS;
    if (meter != nullptr)
        ebur128_destroy(&meter);
    if (!measured)
        throw std::runtime_error("libebur128 could not measure the loudness");
    return loudness;
}

dsp::AudioBuffer referencePinkNoise(double sampleRate, std::size_t periodFrames,
                                    std::size_t numPeriods)
{
    const auto period =
        signals::makeShapedNoise({.colour = signals::NoiseColour::pink,
                                  .sampleRate = sampleRate,
                                  .fromHz = 20.0,
                                  .toHz = 20000.0,
                                  .rms = std::pow(10.0, -18.0 / 20.0) / std::numbers::sqrt2,
                                  .seed = 77},
                                 periodFrames);
    std::vector<float> samples;
    for (std::size_t turn = 0; turn < numPeriods; ++turn)
        samples.insert(samples.end(), period.begin(), period.end());
    return {sampleRate, {samples, samples}};
}

} // namespace saddletone::test
