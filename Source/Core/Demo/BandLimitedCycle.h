#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::demo {

/** No oscillator here has a partial above this: below half of the lowest supported rate (44.1 kHz)
    with room for the interpolation's images, and the same at every rate. */
inline constexpr double programmeBandwidthHz = 17000.0;

/** One harmonic of a periodic wave: cosine cos(2 pi h phase) + sine sin(2 pi h phase). */
struct Harmonic {
    double cosine = 0.0;
    double sine = 0.0;
};

/** One cycle of a periodic wave as a table, holding only the harmonics that stay under
    programmeBandwidthHz at the highest fundamental it will be played at. Interpolated linearly:
    the error of harmonic h is h^2 (2 pi / 4096)^2 / 8 of its own amplitude, -80 dB of the
    fundamental for a sawtooth's hundredth. */
class BandLimitedCycle {
public:
    /** harmonics[0] is the fundamental. */
    BandLimitedCycle(std::span<const Harmonic> harmonics, double highestFundamentalHz);

    /** phaseCycles in [0, 1). */
    [[nodiscard]] double at(double phaseCycles) const noexcept
    {
        const double position = phaseCycles * static_cast<double>(numSteps);
        const auto step = static_cast<std::size_t>(position);
        const double fraction = position - static_cast<double>(step);
        return table[step] + fraction * (table[step + 1] - table[step]);
    }

private:
    static constexpr std::size_t numSteps = 4096;
    std::vector<double> table;
};

/** Phase in cycles, advanced by a frequency, kept in [0, 1). */
class Phase {
public:
    explicit Phase(double startCycles = 0.0) noexcept : cycles(startCycles) {}

    /** Returns the phase and then moves on by normalisedFrequency, which is in [0, 1). */
    [[nodiscard]] double advance(double normalisedFrequency) noexcept
    {
        const double now = cycles;
        cycles += normalisedFrequency;
        if (cycles >= 1.0)
            cycles -= 1.0;
        return now;
    }

private:
    double cycles;
};

/** Falling sawtooth, amplitude 1/h. */
[[nodiscard]] std::vector<Harmonic> sawtoothHarmonics(std::size_t numHarmonics);

/** Reed-like: odd harmonics 1/h, even ones at a third of that. */
[[nodiscard]] std::vector<Harmonic> reedHarmonics(std::size_t numHarmonics);

/** Flow derivative of the trigonometric glottal pulse of Rosenberg (JASA 49(2B), 1971, pulse C),
    opening for 40 % and closing for 16 % of the period; the derivative stands for the radiation
    from the mouth. Peak scaled to 1. */
[[nodiscard]] std::vector<Harmonic> glottalHarmonics(std::size_t numHarmonics);

} // namespace saddletone::demo
