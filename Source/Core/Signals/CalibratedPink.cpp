#include "Core/Signals/CalibratedPink.h"

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>
#include <numeric>

namespace saddletone::signals {

namespace {

/** First-order low-passes that add up to pink, each y = pole y' + gain x, and two terms without
    memory; gains by which the filtered noise has its level. All from the standard's pseudo-code. */
struct PinkPole {
    double pole;
    double gain;
};
constexpr std::array pinkPoles {
    PinkPole {0.9994551, 0.00198166688621989}, PinkPole {0.9969859, 0.00263702334184061},
    PinkPole {0.9844470, 0.00643213710202331}, PinkPole {0.9161757, 0.01438952538362820},
    PinkPole {0.6563399, 0.02698408541064610}};
constexpr double pinkDirectGain = 0.0342675832159306;
constexpr double pinkDelayedGain = 0.0088766118009356;

/** A Butterworth section of two zeros at DC and poles by the matched z-transform, gain 1 at
    Nyquist: what the standard uses at 10 Hz, where a bilinear section would do the same. */
dsp::BiquadCoefficients matchedHighPass(double frequencyHz, double q, double sampleRate)
{
    const double omega = 2.0 * std::numbers::pi * frequencyHz / sampleRate;
    const double damping = 0.5 / q;
    const double a1 =
        -2.0 * std::exp(-damping * omega) * std::cos(std::sqrt(1.0 - damping * damping) * omega);
    const double a2 = std::exp(-2.0 * damping * omega);
    const double b0 = 0.25 * (1.0 - a1 + a2);
    return {b0, -2.0 * b0, b0, a1, a2};
}

} // namespace

CalibratedPinkSource::CalibratedPinkSource(std::size_t periodFrames) noexcept
    : increment(periodFrames == 1U << 20U ? 163841U : 52737U),
      mask(static_cast<std::uint32_t>(periodFrames - 1))
{
    assert((periodFrames & (periodFrames - 1)) == 0);
}

std::uint32_t CalibratedPinkSource::next() noexcept
{
    state = (1664525U * state + increment) & mask;
    return state;
}

std::size_t calibratedPinkPeriodFrames(double sampleRate) noexcept
{
    return sampleRate > 48000.0 ? 1U << 20U : 1U << 19U;
}

std::vector<double> makeCalibratedPink(double sampleRate)
{
    const std::size_t period = calibratedPinkPeriodFrames(sampleRate);
    CalibratedPinkSource source(period);
    std::array<double, pinkPoles.size()> states {};
    double delayed = 0.0;
    std::vector<double> samples(2 * period);
    for (double& sample : samples) {
        const double white =
            2.0 * static_cast<double>(source.next()) / static_cast<double>(period - 1) - 1.0;
        for (std::size_t index = 0; index < states.size(); ++index)
            states[index] = pinkPoles[index].pole * states[index] + pinkPoles[index].gain * white;
        sample = std::accumulate(states.begin(), states.end(), delayed + pinkDirectGain * white);
        delayed = pinkDelayedGain * white;
    }
    for (const double q : dsp::butterworthQs(4)) {
        dsp::filterInPlace(matchedHighPass(CalibratedPinkFacts::fromHz, q, sampleRate), samples);
        if (CalibratedPinkFacts::toHz < 0.5 * sampleRate)
            dsp::filterInPlace(dsp::designLowPass(CalibratedPinkFacts::toHz, q, sampleRate),
                               samples);
    }
    samples.erase(samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(period));
    const double highest = dsp::dbToAmplitude(CalibratedPinkFacts::highestPeakDb);
    for (double& sample : samples)
        sample = std::clamp(sample, -highest, highest);
    return samples;
}

} // namespace saddletone::signals
