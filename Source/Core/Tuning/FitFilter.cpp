#include "Core/Tuning/FitFilter.h"

#include "Core/Dsp/Units.h"

#include <cmath>
#include <cstddef>
#include <numbers>

namespace saddletone::tuning {

namespace {

/** dB per unit of the natural logarithm of a power. */
constexpr double dbPerLogPower = 10.0 / std::numbers::ln10;

// With z = (f / f0)^2 the squared magnitudes of the cookbook's analogue prototypes are quotients:
// peaking, A^2 = 10^(gainDb / 20):
//     ((1 - z)^2 + A^2 z / q^2) / ((1 - z)^2 + z / (A^2 q^2))
// low shelf, A = 10^(gainDb / 40):
//     A^2 ((A - z)^2 + A z / q^2) / ((1 - A z)^2 + A z / q^2)
// high shelf: the same with the two sums exchanged.

/** What a filter's numbers give for all frequencies. */
struct Constants {
    double inverseSquaredHz = 1.0;
    double inverseSquaredQ = 1.0;
    double amplitude = 1.0; ///< A
};

Constants constantsOf(const FitFilter& filter)
{
    return {std::exp(-2.0 * filter.logHz), std::exp(-2.0 * filter.logQ),
            dsp::dbToAmplitude(0.5 * filter.gainDb)};
}

} // namespace

Element elementOf(const FitFilter& filter)
{
    Element element;
    element.type = filter.type;
    element.frequencyHz = std::exp(filter.logHz);
    element.gainDb = filter.gainDb;
    element.q = std::exp(filter.logQ);
    return element;
}

void multiplyPowers(const FitFilter& filter, std::span<const double> squaredHz,
                    std::span<double> powers)
{
    const Constants constants = constantsOf(filter);
    const double a = constants.amplitude;
    const std::size_t size = squaredHz.size();
    if (filter.type == ElementType::peaking) {
        const double boost = a * a * constants.inverseSquaredQ;
        const double cut = constants.inverseSquaredQ / (a * a);
        for (std::size_t at = 0; at < size; ++at) {
            const double z = squaredHz[at] * constants.inverseSquaredHz;
            const double u = (1.0 - z) * (1.0 - z);
            powers[at] *= (u + z * boost) / (u + z * cut);
        }
        return;
    }
    const bool isLow = filter.type == ElementType::lowShelf;
    const double width = a * constants.inverseSquaredQ;
    for (std::size_t at = 0; at < size; ++at) {
        const double z = squaredHz[at] * constants.inverseSquaredHz;
        const double low = (a - z) * (a - z) + z * width;
        const double high = (1.0 - a * z) * (1.0 - a * z) + z * width;
        powers[at] *= a * a * (isLow ? low / high : high / low);
    }
}

void multiplyPowers(const FitFilter& filter, std::span<const double> squaredHz,
                    std::span<double> powers, std::span<double> dbPerLogHz,
                    std::span<double> dbPerGainDb, std::span<double> dbPerLogQ)
{
    const Constants constants = constantsOf(filter);
    const double a = constants.amplitude;
    const std::size_t size = squaredHz.size();
    if (filter.type == ElementType::peaking) {
        const double boost = a * a * constants.inverseSquaredQ;
        const double cut = constants.inverseSquaredQ / (a * a);
        for (std::size_t at = 0; at < size; ++at) {
            const double z = squaredHz[at] * constants.inverseSquaredHz;
            const double u = (1.0 - z) * (1.0 - z);
            const double raised = z * boost;
            const double lowered = z * cut;
            const double above = 1.0 / (u + raised);
            const double below = 1.0 / (u + lowered);
            powers[at] *= (u + raised) * below;
            const double uPerLogHz = 4.0 * z * (1.0 - z);
            dbPerLogHz[at] =
                dbPerLogPower
                * ((uPerLogHz - 2.0 * raised) * above - (uPerLogHz - 2.0 * lowered) * below);
            dbPerGainDb[at] = 0.5 * (raised * above + lowered * below);
            dbPerLogQ[at] = -2.0 * dbPerLogPower * (raised * above - lowered * below);
        }
        return;
    }
    const double width = a * constants.inverseSquaredQ;
    // A low shelf has low over high, a high shelf the opposite; A^2 stands in front of both.
    const double sign = filter.type == ElementType::lowShelf ? 1.0 : -1.0;
    for (std::size_t at = 0; at < size; ++at) {
        const double z = squaredHz[at] * constants.inverseSquaredHz;
        const double w = z * width;
        const double low = (a - z) * (a - z) + w;
        const double high = (1.0 - a * z) * (1.0 - a * z) + w;
        const double perLow = 1.0 / low;
        const double perHigh = 1.0 / high;
        powers[at] *= a * a * (sign > 0.0 ? low * perHigh : high * perLow);
        const double lowPerLogHz = 4.0 * z * (a - z) - 2.0 * w;
        const double highPerLogHz = 4.0 * a * z * (1.0 - a * z) - 2.0 * w;
        dbPerLogHz[at] = sign * dbPerLogPower * (lowPerLogHz * perLow - highPerLogHz * perHigh);
        const double lowPerLogA = 2.0 * a * (a - z) + w;
        const double highPerLogA = -2.0 * a * z * (1.0 - a * z) + w;
        dbPerGainDb[at] = 0.25 * (2.0 + sign * (lowPerLogA * perLow - highPerLogA * perHigh));
        dbPerLogQ[at] = -2.0 * sign * dbPerLogPower * w * (perLow - perHigh);
    }
}

} // namespace saddletone::tuning
