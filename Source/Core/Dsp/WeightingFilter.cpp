#include "Core/Dsp/WeightingFilter.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::dsp {

namespace {

// IEC 61672-1, as in Weighting.cpp.
constexpr double pole1Hz = 20.598997;
constexpr double pole2Hz = 107.652649;
constexpr double pole3Hz = 737.862231;
constexpr double pole4Hz = 12194.217148;

/** Two first-order sections as one. */
BiquadCoefficients product(const BiquadCoefficients& first, const BiquadCoefficients& second)
{
    return {first.b0 * second.b0, first.b0 * second.b1 + first.b1 * second.b0, first.b1 * second.b1,
            first.a1 + second.a1, first.a1 * second.a1};
}

/** The double pole at pole4Hz: a pole at exp(-omega / rate) twice; |B|^2, linear in cos w and
    cos 2w, is solved for at three frequencies and factored. */
BiquadCoefficients designTopPoles(double sampleRate) noexcept
{
    const double pole = std::exp(-2.0 * std::numbers::pi * pole4Hz / sampleRate);
    // Where the error between and beyond them is least up to 20 kHz, found by search.
    const double middleHz = std::min(14000.0, 0.31 * sampleRate);
    const double upperHz = std::min(19400.0, 0.435 * sampleRate);
    const auto numeratorPower = [&](double frequencyHz) {
        const double cosine = std::cos(2.0 * std::numbers::pi * frequencyHz / sampleRate);
        const double denominator = 1.0 - 2.0 * pole * cosine + pole * pole;
        const double ratio = frequencyHz / pole4Hz;
        const double gain = 1.0 / (1.0 + ratio * ratio);
        return gain * gain * denominator * denominator;
    };
    // P(w) = P0 + d1 (cos w - 1) + d2 (cos 2w - 1).
    const double power0 = numeratorPower(0.0);
    const auto row = [&](double frequencyHz) {
        const double angle = 2.0 * std::numbers::pi * frequencyHz / sampleRate;
        return std::array {std::cos(angle) - 1.0, std::cos(2.0 * angle) - 1.0,
                           numeratorPower(frequencyHz) - power0};
    };
    const auto middle = row(middleHz);
    const auto upper = row(upperHz);
    const double determinant = middle[0] * upper[1] - middle[1] * upper[0];
    const double d1 = (middle[2] * upper[1] - middle[1] * upper[2]) / determinant;
    const double d2 = (middle[0] * upper[2] - middle[2] * upper[0]) / determinant;
    // d1 = 2 b1 (b0 + b2), d2 = 2 b0 b2; P at half the rate is P0 - 2 d1.
    const double root0 = std::sqrt(power0);
    const double rootHalf = std::sqrt(std::max(0.0, power0 - 2.0 * d1));
    const double outer = 0.5 * (root0 + rootHalf);
    const double b0 = 0.5 * (outer + std::sqrt(std::max(0.0, outer * outer - 2.0 * d2)));
    return {b0, 0.5 * (root0 - rootHalf), outer - b0, -2.0 * pole, pole * pole};
}

} // namespace

std::complex<double> WeightingDesign::response(double frequencyHz, double sampleRate) const noexcept
{
    std::complex<double> gain = 1.0;
    for (std::size_t section = 0; section < numSections; ++section)
        gain *= sections[section].response(frequencyHz, sampleRate);
    return gain;
}

WeightingDesign designWeighting(Weighting weighting, double sampleRate) noexcept
{
    assert(sampleRate >= 32000.0);
    WeightingDesign design;
    if (weighting == Weighting::z)
        return design;
    const auto lowest = designFirstOrderHighPass(pole1Hz, sampleRate);
    design.sections[design.numSections++] = product(lowest, lowest);
    if (weighting == Weighting::a)
        design.sections[design.numSections++] =
            product(designFirstOrderHighPass(pole2Hz, sampleRate),
                    designFirstOrderHighPass(pole3Hz, sampleRate));
    design.sections[design.numSections++] = designTopPoles(sampleRate);
    const double scale = 1.0 / std::abs(design.response(1000.0, sampleRate));
    design.sections[0].b0 *= scale;
    design.sections[0].b1 *= scale;
    design.sections[0].b2 *= scale;
    return design;
}

void WeightingFilter::prepare(const ProcessSpec& spec)
{
    sampleRate = spec.sampleRate;
    histories.resize(spec.numChannels);
    design = designWeighting(current.weighting, sampleRate);
    reset();
}

void WeightingFilter::reset() noexcept
{
    std::ranges::fill(histories, std::array<History, 3> {});
}

void WeightingFilter::setParameters(const WeightingFilterParameters& parameters) noexcept
{
    if (parameters == current)
        return;
    current = parameters;
    design = designWeighting(current.weighting, sampleRate);
    reset();
}

void WeightingFilter::process(ChannelView<const double> input, ChannelView<double> output) noexcept
{
    assert(input.numChannels() == histories.size() && output.numChannels() == histories.size());
    for (std::size_t channel = 0; channel < histories.size(); ++channel) {
        const auto source = input[channel];
        const auto target = output[channel];
        if (source.data() != target.data())
            std::ranges::copy(source, target.begin());
        for (std::size_t section = 0; section < design.numSections; ++section) {
            const BiquadCoefficients c = design.sections[section];
            History h = histories[channel][section];
            for (double& sample : target) {
                const double x = sample;
                sample = c.b0 * x + h.s1;
                h.s1 = c.b1 * x - c.a1 * sample + h.s2;
                h.s2 = c.b2 * x - c.a2 * sample;
            }
            histories[channel][section] = h;
        }
    }
}

} // namespace saddletone::dsp
