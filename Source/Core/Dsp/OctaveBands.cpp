#include "Core/Dsp/OctaveBands.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/SignalSums.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::dsp {

std::vector<Band> octaveBands(int bandsPerOctave, double fromHz, double toHz)
{
    assert(bandsPerOctave >= 1 && fromHz > 0.0 && toHz >= fromHz);
    const double perBand = 0.3 / bandsPerOctave; // log10 of the ratio between centres
    const double shift = bandsPerOctave % 2 == 0 ? 0.5 : 0.0;
    // A nominal limit (20 Hz, 20 kHz) means the band that carries its name: the exact centres lie
    // within one per cent of it.
    constexpr double nominalTolerance = 0.011 / std::numbers::ln10;
    const auto first = static_cast<int>(
        std::ceil((std::log10(fromHz / 1000.0) - nominalTolerance) / perBand - shift));
    const auto last = static_cast<int>(
        std::floor((std::log10(toHz / 1000.0) + nominalTolerance) / perBand - shift));
    std::vector<Band> bands;
    for (int index = first; index <= last; ++index) {
        const double exponent = (index + shift) * perBand;
        bands.push_back({1000.0 * std::pow(10.0, exponent),
                         1000.0 * std::pow(10.0, exponent - 0.5 * perBand),
                         1000.0 * std::pow(10.0, exponent + 0.5 * perBand)});
    }
    return bands;
}

std::vector<Band> thirdOctaveBands()
{
    return octaveBands(3, 20.0, 20000.0);
}

std::string nominalLabel(double thirdOctaveCentreHz)
{
    // ISO 266: ten preferred values a decade.
    constexpr std::array<const char*, 10> perDecade {"1",    "1.25", "1.6", "2",   "2.5",
                                                     "3.15", "4",    "5",   "6.3", "8"};
    constexpr std::array<double, 10> values {1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8};
    const auto steps = static_cast<int>(std::lround(10.0 * std::log10(thirdOctaveCentreHz)));
    const auto digit = static_cast<std::size_t>(((steps % 10) + 10) % 10);
    const int decade = (steps - static_cast<int>(digit)) / 10;
    const double value = values[digit] * std::pow(10.0, decade);
    if (decade <= 0)
        return perDecade[digit];
    if (std::abs(value - std::round(value)) < 1e-6)
        return std::to_string(std::lround(value));
    const auto tenths = std::lround(value * 10.0);
    return std::to_string(tenths / 10) + "." + std::to_string(tenths % 10);
}

std::vector<double> twelfthOctavesHz(double fromHz, double toHz)
{
    assert(fromHz > 0.0);
    std::vector<double> frequenciesHz;
    const auto nextHz = [&] {
        return fromHz * std::exp2(static_cast<double>(frequenciesHz.size()) / 12.0);
    };
    while (nextHz() <= toHz)
        frequenciesHz.push_back(nextHz());
    return frequenciesHz;
}

std::vector<double> bandPowers(std::span<const double> powerPerBin, double binHz,
                               std::span<const Band> bands)
{
    std::vector<double> powers;
    powers.reserve(bands.size());
    const double topBin = static_cast<double>(powerPerBin.size()) - 0.5;
    for (const Band& band : bands) {
        // Bin k stands for the frequencies from k - 1/2 to k + 1/2.
        const double lower = std::clamp(band.lowerHz / binHz, 0.0, topBin);
        const double upper = std::clamp(band.upperHz / binHz, 0.0, topBin);
        const auto firstBin = static_cast<std::size_t>(std::lround(lower));
        const auto lastBin =
            std::min(static_cast<std::size_t>(std::lround(upper)), powerPerBin.size() - 1);
        const auto inBand = [&](std::size_t bin) {
            const double centre = static_cast<double>(bin);
            const double share = std::min(upper, centre + 0.5) - std::max(lower, centre - 0.5);
            return std::max(0.0, share) * powerPerBin[bin];
        };
        // Only the first and the last bin may lie in it in part.
        double sum = firstBin <= lastBin ? inBand(firstBin) : 0.0;
        if (firstBin < lastBin)
            sum +=
                sumOf(powerPerBin.subspan(firstBin + 1, lastBin - firstBin - 1)) + inBand(lastBin);
        powers.push_back(sum);
    }
    return powers;
}

std::vector<double> welchPowerPerBin(std::span<const float> samples, std::size_t segmentFrames)
{
    assert(segmentFrames >= 2 && segmentFrames % 2 == 0);
    const std::size_t size =
        std::max<std::size_t>(2, std::min(segmentFrames, samples.size() / 2 * 2));
    RealFft<double> fft(size, FftDirections::forwardOnly);
    std::vector<double> window(size);
    double windowPower = 0.0;
    for (std::size_t frame = 0; frame < size; ++frame) {
        window[frame] = 0.5
                        - 0.5
                              * std::cos(2.0 * std::numbers::pi * static_cast<double>(frame)
                                         / static_cast<double>(size));
        windowPower += window[frame] * window[frame];
    }
    std::vector<double> power(fft.numBins(), 0.0);
    std::size_t numSegments = 0;
    for (std::size_t begin = 0; begin + size <= samples.size(); begin += size / 2) {
        const auto time = fft.time();
        for (std::size_t frame = 0; frame < size; ++frame)
            time[frame] = window[frame] * static_cast<double>(samples[begin + frame]);
        fft.forward();
        const auto spectrum = fft.spectrum();
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] +=
                std::norm(spectrum[bin]) * (bin == 0 || bin + 1 == power.size() ? 1.0 : 2.0);
        ++numSegments;
    }
    if (numSegments > 0)
        for (double& value : power)
            value /= static_cast<double>(numSegments) * windowPower * static_cast<double>(size);
    return power;
}

std::vector<double> periodicPowerPerBin(std::span<const float> samples)
{
    assert(samples.size() >= 2 && samples.size() % 2 == 0);
    RealFft<double> fft(samples.size(), FftDirections::forwardOnly);
    std::ranges::copy(samples, fft.time().begin());
    fft.forward();
    const auto spectrum = fft.spectrum();
    const double scale =
        1.0 / (static_cast<double>(samples.size()) * static_cast<double>(samples.size()));
    std::vector<double> power(spectrum.size());
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] =
            std::norm(spectrum[bin]) * scale * (bin == 0 || bin + 1 == power.size() ? 1.0 : 2.0);
    return power;
}

std::vector<double> segmentedPowerPerBin(std::span<const float> samples, std::size_t segmentFrames)
{
    assert(segmentFrames >= 2 && segmentFrames % 2 == 0);
    RealFft<float> fft(segmentFrames, FftDirections::forwardOnly);
    return segmentedPowerPerBin(samples, fft);
}

std::vector<double> segmentedPowerPerBin(std::span<const float> samples, RealFft<float>& fft)
{
    assert(!samples.empty());
    const std::size_t segmentFrames = fft.size();
    std::vector<double> power(fft.numBins(), 0.0);
    for (std::size_t begin = 0; begin < samples.size(); begin += segmentFrames) {
        const auto segment =
            samples.subspan(begin, std::min(segmentFrames, samples.size() - begin));
        const auto rest = std::ranges::copy(segment, fft.time().begin()).out;
        std::fill(rest, fft.time().end(), 0.0F);
        fft.forward();
        const auto spectrum = fft.spectrum();
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] += static_cast<double>(std::norm(spectrum[bin]));
    }
    // Energy by Parseval, spread over the signal's own length.
    const double scale =
        2.0 / (static_cast<double>(segmentFrames) * static_cast<double>(samples.size()));
    for (double& value : power)
        value *= scale;
    power.front() *= 0.5;
    power.back() *= 0.5;
    return power;
}

} // namespace saddletone::dsp
