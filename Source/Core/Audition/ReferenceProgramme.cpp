#include "Core/Audition/ReferenceProgramme.h"

#include "Core/Audition/AuditionLevels.h"
#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"

#include <algorithm>
#include <cmath>

namespace saddletone::audition {

namespace {

constexpr double lowestHz = 20.0;
constexpr double highestHz = 20000.0;

/** Power gain of the K weighting: the two sections that BS.1770-4 gives for 48 kHz, whose
    responses are those of the analogue prototype over the audio range. */
double kWeightingPower(double frequencyHz)
{
    constexpr dsp::BiquadCoefficients shelf {1.53512485958697, -2.69169618940638, 1.19839281085285,
                                             -1.69065929318241, 0.73248077421585};
    constexpr dsp::BiquadCoefficients highPass {1.0, -2.0, 1.0, -1.99004745483398,
                                                0.99007225036621};
    return std::norm(shelf.response(frequencyHz, 48000.0)
                     * highPass.response(frequencyHz, 48000.0));
}

/** Mean square of pink noise of the reference level after taps and a weighting of power. */
template <typename Weight>
double weightedMeanSquare(std::span<const float> taps, double sampleRate, Weight&& weight)
{
    const std::size_t size =
        dsp::fastFftSize(std::max(taps.size(), static_cast<std::size_t>(sampleRate)));
    dsp::RealFft<double> fft(size);
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(taps, fft.time().begin());
    fft.forward();
    const double binHz = sampleRate / static_cast<double>(size);
    double sum = 0.0;
    double pinkSum = 0.0;
    for (std::size_t bin = 1; bin < fft.numBins(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        if (frequencyHz < lowestHz || frequencyHz > highestHz)
            continue;
        pinkSum += 1.0 / frequencyHz;
        sum += std::norm(fft.spectrum()[bin]) * weight(frequencyHz) / frequencyHz;
    }
    const double rms = dsp::dbfsToRms(referenceProgrammeDbfs);
    return rms * rms * sum / pinkSum;
}

} // namespace

double referenceLevelDbfsA(std::span<const float> taps, double sampleRate)
{
    return dsp::rmsToDbfs(std::sqrt(weightedMeanSquare(taps, sampleRate, [](double frequencyHz) {
        return dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, frequencyHz));
    })));
}

double referenceLoudnessLufs(std::span<const float> taps, double sampleRate)
{
    // Two channels of weight 1: their mean squares add.
    return -0.691 + dsp::powerToDb(2.0 * weightedMeanSquare(taps, sampleRate, kWeightingPower));
}

} // namespace saddletone::audition
