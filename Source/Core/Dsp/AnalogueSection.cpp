#include "Core/Dsp/AnalogueSection.h"

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Polynomial.h"
#include "Core/Dsp/Units.h"

#include <cassert>
#include <cmath>

namespace saddletone::dsp {

namespace {

using Complex = std::complex<double>;

/** Coefficients of the reverse Bessel polynomial, power 0 first:
    (2n - k)! / (2^(n - k) k! (n - k)!). */
std::vector<double> reverseBesselPolynomial(int order)
{
    std::vector<double> coefficients(static_cast<std::size_t>(order) + 1, 1.0);
    // From power k + 1 to power k the formula grows by (2n - k)(k + 1) / (2 (n - k)).
    for (int power = order - 1; power >= 0; --power)
        coefficients[static_cast<std::size_t>(power)] =
            coefficients[static_cast<std::size_t>(power) + 1] * (2 * order - power) * (power + 1)
            / (2.0 * (order - power));
    return coefficients;
}

/** Where the magnitude of an all-pole low-pass has fallen to the square root of a half; poles as
    polynomialRoots() gives them. */
double halfPowerFrequency(const std::vector<Complex>& poles)
{
    const auto power = [&](double frequency) {
        double product = 1.0;
        for (const Complex& pole : poles) {
            product *= std::norm(pole) / std::norm(Complex {0.0, frequency} - pole);
            if (pole.imag() != 0.0)
                product *= std::norm(pole) / std::norm(Complex {0.0, frequency} - std::conj(pole));
        }
        return product;
    };
    double low = 0.0;
    double high = 100.0;
    while (high - low > 1e-15 * high) {
        const double middle = 0.5 * (low + high);
        if (middle <= low || middle >= high)
            break;
        (power(middle) > 0.5 ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

} // namespace

std::complex<double> AnalogueSection::response(double atHz) const noexcept
{
    const double ratio = atHz / frequencyHz;
    const double square = ratio * ratio;
    return Complex {b0 - b2 * square, b1 * ratio} / Complex {a0 - a2 * square, a1 * ratio};
}

AnalogueSection analoguePeaking(double frequencyHz, double q, double gainDb) noexcept
{
    const double a = dbToAmplitude(0.5 * gainDb);
    return {frequencyHz, 1.0, a / q, 1.0, 1.0, 1.0 / (a * q), 1.0};
}

AnalogueSection analogueLowShelf(double frequencyHz, double q, double gainDb) noexcept
{
    const double a = dbToAmplitude(0.5 * gainDb);
    const double damping = std::sqrt(a) / q;
    return {frequencyHz, a * a, a * damping, a, 1.0, damping, a};
}

AnalogueSection analogueHighShelf(double frequencyHz, double q, double gainDb) noexcept
{
    const double a = dbToAmplitude(0.5 * gainDb);
    const double damping = std::sqrt(a) / q;
    return {frequencyHz, a, a * damping, a * a, a, damping, 1.0};
}

AnalogueSection analogueHighPass(double frequencyHz, double q) noexcept
{
    return {frequencyHz, 0.0, 0.0, 1.0, 1.0, 1.0 / q, 1.0};
}

AnalogueSection analogueLowPass(double frequencyHz, double q) noexcept
{
    return {frequencyHz, 1.0, 0.0, 0.0, 1.0, 1.0 / q, 1.0};
}

AnalogueSection analogueFirstOrderHighPass(double frequencyHz) noexcept
{
    return {frequencyHz, 0.0, 1.0, 0.0, 1.0, 1.0, 0.0};
}

AnalogueSection analogueFirstOrderLowPass(double frequencyHz) noexcept
{
    return {frequencyHz, 1.0, 0.0, 0.0, 1.0, 1.0, 0.0};
}

AnalogueSection analogueAllPass(double frequencyHz, double q) noexcept
{
    return {frequencyHz, 1.0, -1.0 / q, 1.0, 1.0, 1.0 / q, 1.0};
}

AnalogueSection analogueFirstOrderAllPass(double frequencyHz) noexcept
{
    return {frequencyHz, 1.0, -1.0, 0.0, 1.0, 1.0, 0.0};
}

AnalogueSection analogueNotch(double frequencyHz, double q) noexcept
{
    return {frequencyHz, 1.0, 0.0, 1.0, 1.0, 1.0 / q, 1.0};
}

std::vector<AnalogueSection> analogueButterworth(PassBand band, int order, double frequencyHz)
{
    const bool below = band == PassBand::belowFrequency;
    std::vector<AnalogueSection> sections;
    for (const double q : butterworthQs(order))
        sections.push_back(below ? analogueLowPass(frequencyHz, q)
                                 : analogueHighPass(frequencyHz, q));
    if (order % 2 == 1)
        sections.push_back(below ? analogueFirstOrderLowPass(frequencyHz)
                                 : analogueFirstOrderHighPass(frequencyHz));
    return sections;
}

std::vector<AnalogueSection> analogueLinkwitzRiley(PassBand band, int order, double frequencyHz)
{
    assert(order % 2 == 0);
    std::vector<AnalogueSection> sections = analogueButterworth(band, order / 2, frequencyHz);
    const std::size_t numSections = sections.size();
    for (std::size_t index = 0; index < numSections; ++index)
        sections.push_back(sections[index]);
    return sections;
}

std::vector<AnalogueSection> analogueBessel(PassBand band, int order, double frequencyHz)
{
    const bool below = band == PassBand::belowFrequency;
    std::vector<AnalogueSection> sections;
    for (const Complex& pole : besselPoles(order)) {
        const double radius = std::abs(pole);
        const double poleHz = below ? frequencyHz * radius : frequencyHz / radius;
        if (pole.imag() == 0.0) {
            sections.push_back(below ? analogueFirstOrderLowPass(poleHz)
                                     : analogueFirstOrderHighPass(poleHz));
        } else {
            const double q = radius / (-2.0 * pole.real());
            sections.push_back(below ? analogueLowPass(poleHz, q) : analogueHighPass(poleHz, q));
        }
    }
    return sections;
}

std::vector<std::complex<double>> besselPoles(int order)
{
    assert(order >= 1 && order <= 8);
    std::vector<Complex> poles = polynomialRoots(reverseBesselPolynomial(order));
    const double scale = 1.0 / halfPowerFrequency(poles);
    for (Complex& pole : poles)
        pole *= scale;
    return poles;
}

} // namespace saddletone::dsp
