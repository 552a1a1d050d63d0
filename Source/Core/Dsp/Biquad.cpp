#include "Core/Dsp/Biquad.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::dsp {

namespace {

struct Prototype {
    double cosine;
    double alpha;
};

double angularFrequency(double frequencyHz, double sampleRate) noexcept
{
    return 2.0 * std::numbers::pi * std::min(frequencyHz / sampleRate, 0.4998);
}

Prototype prototype(double frequencyHz, double q, double sampleRate) noexcept
{
    const double omega = angularFrequency(frequencyHz, sampleRate);
    return {std::cos(omega), std::sin(omega) / (2.0 * q)};
}

BiquadCoefficients normalised(double b0, double b1, double b2, double a0, double a1,
                              double a2) noexcept
{
    return {b0 / a0, b1 / a0, b2 / a0, a1 / a0, a2 / a0};
}

} // namespace

std::complex<double> BiquadCoefficients::response(double frequencyHz,
                                                  double sampleRate) const noexcept
{
    const std::complex<double> z1 =
        std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / sampleRate);
    const std::complex<double> z2 = z1 * z1;
    return (b0 + b1 * z1 + b2 * z2) / (1.0 + a1 * z1 + a2 * z2);
}

BiquadCoefficients designHighPass(double frequencyHz, double q, double sampleRate) noexcept
{
    const auto [c, alpha] = prototype(frequencyHz, q, sampleRate);
    return normalised(0.5 * (1.0 + c), -(1.0 + c), 0.5 * (1.0 + c), 1.0 + alpha, -2.0 * c,
                      1.0 - alpha);
}

BiquadCoefficients designLowPass(double frequencyHz, double q, double sampleRate) noexcept
{
    const auto [c, alpha] = prototype(frequencyHz, q, sampleRate);
    return normalised(0.5 * (1.0 - c), 1.0 - c, 0.5 * (1.0 - c), 1.0 + alpha, -2.0 * c,
                      1.0 - alpha);
}

BiquadCoefficients designFirstOrderHighPass(double frequencyHz, double sampleRate) noexcept
{
    const double k = std::tan(0.5 * angularFrequency(frequencyHz, sampleRate));
    return normalised(1.0, -1.0, 0.0, 1.0 + k, k - 1.0, 0.0);
}

BiquadCoefficients designFirstOrderLowPass(double frequencyHz, double sampleRate) noexcept
{
    const double k = std::tan(0.5 * angularFrequency(frequencyHz, sampleRate));
    return normalised(k, k, 0.0, 1.0 + k, k - 1.0, 0.0);
}

double shelfSlopeToQ(double slope, double gainDb) noexcept
{
    const double a = std::pow(10.0, gainDb / 40.0);
    return 1.0 / std::sqrt((a + 1.0 / a) * (1.0 / slope - 1.0) + 2.0);
}

std::vector<double> butterworthQs(int order)
{
    assert(order >= 1 && order <= 8);
    std::vector<double> qs;
    for (int section = order / 2; section >= 1; --section)
        qs.push_back(0.5 / std::sin((2.0 * section - 1.0) * std::numbers::pi / (2.0 * order)));
    return qs;
}

void filterInPlace(const BiquadCoefficients& coefficients, std::span<double> samples) noexcept
{
    double s1 = 0.0;
    double s2 = 0.0;
    for (double& sample : samples) {
        const double input = sample;
        sample = coefficients.b0 * input + s1;
        s1 = coefficients.b1 * input - coefficients.a1 * sample + s2;
        s2 = coefficients.b2 * input - coefficients.a2 * sample;
    }
}

} // namespace saddletone::dsp
