#include "Core/Seat/SpectrumShape.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::seat {

dsp::Result<void> checkFilterLimits(const std::string& what, double sampleRate, std::size_t numTaps,
                                    double maxBoostDb, double maxCutDb)
{
    const auto refuse = [&what](const std::string& reason) {
        return dsp::fail(dsp::ErrorCode::outOfRange, what + ": " + reason);
    };
    if (!(sampleRate >= 8000.0 && sampleRate <= 384000.0))
        return refuse("the sample rate must be 8000 to 384000 Hz");
    if (numTaps < 256 || numTaps > 65536)
        return refuse("the number of taps must be 256 to 65536");
    if (!(maxBoostDb >= 0.0 && maxBoostDb <= 24.0))
        return refuse("the largest boost must be 0 to 24 dB");
    if (!(maxCutDb >= 0.0 && maxCutDb <= 40.0))
        return refuse("the largest cut must be 0 to 40 dB");
    return {};
}

std::size_t designSizeFor(double sampleRate)
{
    std::size_t size = 1U << 15U;
    while (sampleRate / static_cast<double>(size) > 0.4)
        size *= 2;
    return size;
}

std::vector<double> meanPowerAround(std::span<const double> powerPerBin, double octavesBelow,
                                    double octavesAbove)
{
    std::vector<double> sumBelow(powerPerBin.size() + 1, 0.0);
    for (std::size_t bin = 0; bin < powerPerBin.size(); ++bin)
        sumBelow[bin + 1] = sumBelow[bin] + powerPerBin[bin];
    // Bin k stands for the frequencies from k - 1/2 to k + 1/2.
    const auto top = static_cast<double>(powerPerBin.size()) - 1e-9;
    const auto integral = [&](double position) {
        const double inside = std::clamp(position + 0.5, 0.0, top);
        const auto whole = static_cast<std::size_t>(inside);
        return sumBelow[whole] + (inside - static_cast<double>(whole)) * powerPerBin[whole];
    };
    const double lowerRatio = std::exp2(-octavesBelow);
    const double upperRatio = std::exp2(octavesAbove);
    std::vector<double> result(powerPerBin.begin(), powerPerBin.end());
    for (std::size_t bin = 1; bin < powerPerBin.size(); ++bin) {
        const auto centre = static_cast<double>(bin);
        const double lower = std::min(centre * lowerRatio, centre - 0.5);
        const double upper = std::min(std::max(centre * upperRatio, centre + 0.5), top - 0.5);
        if (upper > lower)
            result[bin] = std::max(0.0, (integral(upper) - integral(lower)) / (upper - lower));
    }
    return result;
}

std::vector<double> smoothedPower(std::span<const double> powerPerBin, double widthOctaves)
{
    return meanPowerAround(powerPerBin, 0.5 * widthOctaves, 0.5 * widthOctaves);
}

std::vector<double> magnitudesOf(std::span<const double> impulse, std::size_t size)
{
    assert(size >= impulse.size());
    dsp::RealFft<double> fft(size);
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    std::vector<double> result;
    result.reserve(fft.numBins());
    for (const std::complex<double>& bin : fft.spectrum())
        result.push_back(std::abs(bin));
    return result;
}

std::vector<double> minimumPhaseTaps(std::span<const double> magnitude, std::size_t numTaps)
{
    auto taps = dsp::minimumPhaseImpulse(magnitude);
    taps.resize(std::min(numTaps, taps.size()));
    const std::size_t fade = taps.size() / 10;
    for (std::size_t frame = 0; frame < fade; ++frame)
        taps[taps.size() - 1 - frame] *=
            0.5
            - 0.5
                  * std::cos(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                             / static_cast<double>(fade));
    taps.resize(numTaps, 0.0);
    return taps;
}

double keepBelow(double maxGainDb, std::size_t designSize, std::vector<double>& taps)
{
    const auto magnitudes = magnitudesOf(taps, designSize);
    const double highest = *std::ranges::max_element(magnitudes);
    const double limit = dsp::dbToAmplitude(maxGainDb);
    if (highest <= limit)
        return dsp::amplitudeToDb(highest);
    for (double& tap : taps)
        tap *= limit / highest;
    return maxGainDb;
}

std::vector<double> curveFrequencies(double fromHz, double toHz)
{
    std::vector<double> frequencies;
    for (const dsp::Band& band : dsp::octaveBands(12, fromHz, toHz))
        frequencies.push_back(band.centreHz);
    return frequencies;
}

double middleLevelDb(const files::FrequencyTable& table)
{
    double sum = 0.0;
    constexpr int numSteps = 49;
    for (int step = 0; step < numSteps; ++step)
        sum += table.levelDbAt(500.0 * std::exp2(2.0 * step / (numSteps - 1)));
    return sum / numSteps;
}

} // namespace saddletone::seat
