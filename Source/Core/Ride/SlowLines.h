#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>

namespace saddletone::ride {

/** A slow random process of mean 0 as a sum of sines of random phase (Rice, Bell Syst. Tech. J. 23,
    1944): Gaussian for many lines, known at any time without what came before, and it does not
    repeat, as the lines' frequencies share no period. Its integral is known likewise. */
template <std::size_t numLines>
struct SlowLines {
    std::array<double, numLines> frequenciesHz {}; ///< Above 0 where the amplitude is.
    std::array<double, numLines> phasesRadians {};
    std::array<double, numLines> amplitudes {};

    [[nodiscard]] double at(double seconds) const noexcept
    {
        double sum = 0.0;
        for (std::size_t line = 0; line < numLines; ++line)
            if (amplitudes[line] > 0.0)
                sum += amplitudes[line]
                       * std::cos(2.0 * std::numbers::pi * frequenciesHz[line] * seconds
                                  + phasesRadians[line]);
        return sum;
    }

    /** Integral over time, in units of seconds, but for a constant. */
    [[nodiscard]] double integralAt(double seconds) const noexcept
    {
        double sum = 0.0;
        for (std::size_t line = 0; line < numLines; ++line)
            if (amplitudes[line] > 0.0) {
                const double angular = 2.0 * std::numbers::pi * frequenciesHz[line];
                sum +=
                    amplitudes[line] / angular * std::sin(angular * seconds + phasesRadians[line]);
            }
        return sum;
    }
};

inline constexpr std::size_t numMemoryLines = 8;

/** Unit variance, with the autocorrelation of noise through two equal low-pass filters of first
    order, (1 + x) exp(-x) with x proportional to the lag, as far as lines below highestHz allow. It
    falls to 1/e at the lag memorySeconds. */
[[nodiscard]] SlowLines<numMemoryLines> memoryLines(double memorySeconds, double highestHz,
                                                    std::uint64_t seed) noexcept;

} // namespace saddletone::ride
