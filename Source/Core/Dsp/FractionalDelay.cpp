#include "Core/Dsp/FractionalDelay.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>
#include <vector>

namespace saddletone::dsp {

namespace {

/** Modified Bessel function of order 0, by its power series. */
double besselI0(double argument) noexcept
{
    double term = 1.0;
    double sum = 1.0;
    for (int index = 1; term > 1e-17 * sum; ++index) {
        const double factor = 0.5 * argument / index;
        term *= factor * factor;
        sum += term;
    }
    return sum;
}

/** Kaiser's shape for 80 dB, 0.1102 (A - 8.7) (Kaiser 1974): what 64 taps reach in the room
    between 20 kHz and Nyquist at 44.1 kHz. */
constexpr double kaiserShape = 0.1102 * (80.0 - 8.7);

/** The tap that stands at an offset (in samples) from the middle of the sinc. */
double interpolationTap(double offset) noexcept
{
    const double position = offset / (0.5 * static_cast<double>(fractionalDelayTaps));
    if (std::abs(position) >= 1.0)
        return 0.0;
    const double angle = std::numbers::pi * offset;
    const double sinc = angle == 0.0 ? 1.0 : std::sin(angle) / angle;
    return sinc * besselI0(kaiserShape * std::sqrt(1.0 - position * position))
           / besselI0(kaiserShape);
}

} // namespace

void delaySamplesInPlace(double numSamples, std::span<double> samples)
{
    assert(numSamples >= 0.0);
    if (numSamples >= static_cast<double>(samples.size() + fractionalDelayTaps)) {
        std::ranges::fill(samples, 0.0);
        return;
    }
    constexpr double wholeWithin = 1e-6;
    const double nearest = std::round(numSamples);
    if (std::abs(numSamples - nearest) <= wholeWithin) {
        const std::size_t shift = std::min(static_cast<std::size_t>(nearest), samples.size());
        std::shift_right(samples.begin(), samples.end(), static_cast<std::ptrdiff_t>(shift));
        std::ranges::fill(samples.first(shift), 0.0);
        return;
    }

    const double whole = std::floor(numSamples);
    constexpr auto reach = static_cast<std::ptrdiff_t>(fractionalDelayTaps / 2);
    std::array<double, fractionalDelayTaps> taps {};
    for (std::ptrdiff_t tap = 0; tap < 2 * reach; ++tap)
        taps[static_cast<std::size_t>(tap)] =
            interpolationTap(static_cast<double>(tap - reach + 1) - (numSamples - whole));
    // Tap t stands whole + t - 31 samples after the input.
    const auto first = static_cast<std::ptrdiff_t>(whole) - reach + 1;
    const std::vector<double> input(samples.begin(), samples.end());
    const auto numFrames = static_cast<std::ptrdiff_t>(samples.size());
    // Tap by tap over a block that stays in the cache, which the compiler turns into vectors.
    constexpr std::ptrdiff_t blockFrames = 512;
    for (std::ptrdiff_t begin = 0; begin < numFrames; begin += blockFrames) {
        const std::ptrdiff_t end = std::min(begin + blockFrames, numFrames);
        std::array<double, blockFrames> sums {};
        for (std::ptrdiff_t tap = 0; tap < 2 * reach; ++tap) {
            const double gain = taps[static_cast<std::size_t>(tap)];
            const std::ptrdiff_t delay = first + tap;
            const std::ptrdiff_t last = std::min(end, numFrames + delay);
            for (std::ptrdiff_t frame = std::max(begin, delay); frame < last; ++frame)
                sums[static_cast<std::size_t>(frame - begin)] +=
                    gain * input[static_cast<std::size_t>(frame - delay)];
        }
        std::copy_n(sums.begin(), end - begin, samples.begin() + begin);
    }
}

} // namespace saddletone::dsp
