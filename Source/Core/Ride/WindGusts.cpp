#include "Core/Ride/WindGusts.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"

#include <cmath>
#include <numbers>

namespace saddletone::ride {

double WindGusts::levelDb(double seconds, double deviationDb, double timeSeconds) const noexcept
{
    // Independent normal values at even knots, joined by a quarter of a cosine and of a sine, whose
    // squares add up to one: the deviation is the same everywhere. The integral of the
    // autocorrelation of that is 8 / pi^2 of the spacing.
    const double spacingSeconds = timeSeconds * std::numbers::pi * std::numbers::pi / 8.0;
    const double position = seconds / spacingSeconds;
    const double knot = std::floor(position);
    const auto index = static_cast<std::uint64_t>(knot);
    const double angle = 0.5 * std::numbers::pi * (position - knot);
    const double before = dsp::RandomSource(dsp::mixSeed(seed, index)).nextGaussian();
    const double after = dsp::RandomSource(dsp::mixSeed(seed, index + 1)).nextGaussian();
    // A level that is normal in dB has a mean power of exp((ln 10 / 10)^2 variance / 2).
    const double meanPowerDb = std::numbers::ln10 / 20.0 * deviationDb * deviationDb;
    return deviationDb * (before * std::cos(angle) + after * std::sin(angle)) - meanPowerDb;
}

double WakeModulation::beat(double seconds) const noexcept
{
    constexpr double centreHz = 0.5 * (lowestHz + highestHz);
    constexpr double spanHz = 0.5 * (highestHz - lowestHz);
    constexpr double spacingSeconds = 1.0;
    // Between knots in -1..1 runs 3 u^2 - 2 u^3, whose slope is 1.5 at most: the frequency stays
    // within the span.
    constexpr double wanderTurns = spanHz * spacingSeconds / 3.0;
    const double position = seconds / spacingSeconds;
    const double knot = std::floor(position);
    const auto index = static_cast<std::uint64_t>(knot);
    const double u = position - knot;
    const auto valueAt = [this](std::uint64_t knotIndex) {
        return 2.0 * dsp::RandomSource(dsp::mixSeed(seed, knotIndex)).nextUniform() - 1.0;
    };
    const double before = valueAt(index);
    const double after = valueAt(index + 1);
    const double wander = before + (after - before) * u * u * (3.0 - 2.0 * u);
    const double turns = centreHz * seconds + wanderTurns * wander;
    return std::sin(2.0 * std::numbers::pi * (turns - std::floor(turns)));
}

double WakeModulation::gain(double beat, double depthDb) noexcept
{
    // The mean power of exp(x sin) is the modified Bessel function I0(x), by its series.
    const double quarter = depthDb * std::numbers::ln10 / 40.0;
    const double term = quarter * quarter;
    const double meanPower = 1.0 + term * (1.0 + term / 4.0 * (1.0 + term / 9.0));
    return dsp::dbToAmplitude(0.5 * depthDb * beat) / std::sqrt(meanPower);
}

} // namespace saddletone::ride
