#include "Core/Ride/SlowLines.h"

#include "Core/Dsp/RandomSource.h"

#include <algorithm>

namespace saddletone::ride {

namespace {

// Where (1 + x) exp(-x) is 1/e.
constexpr double memoryInCorners = 2.1462;

} // namespace

SlowLines<numMemoryLines> memoryLines(double memorySeconds, double highestHz,
                                      std::uint64_t seed) noexcept
{
    // Lines of equal power at the quantiles of the spectrum 1 / (1 + (f / f0)^2)^2, which belongs
    // to the autocorrelation: with f = f0 tan(y / 2) a share (y + sin y) / pi of the power lies
    // below f.
    const double cornerHz = memoryInCorners / (2.0 * std::numbers::pi * memorySeconds);
    dsp::RandomSource random(seed);
    SlowLines<numMemoryLines> lines;
    for (std::size_t line = 0; line < numMemoryLines; ++line) {
        const double quantile = (static_cast<double>(line) + 0.2 + 0.6 * random.nextUniform())
                                / static_cast<double>(numMemoryLines);
        constexpr int numNewtonSteps = 8;
        double angle = 0.5 * std::numbers::pi * quantile;
        for (int step = 0; step < numNewtonSteps; ++step)
            angle -=
                (angle + std::sin(angle) - std::numbers::pi * quantile) / (1.0 + std::cos(angle));
        const double cappedHz = highestHz * (0.6 + 0.4 * random.nextUniform());
        lines.frequenciesHz[line] = std::min(cornerHz * std::tan(0.5 * angle), cappedHz);
        lines.phasesRadians[line] = 2.0 * std::numbers::pi * random.nextUniform();
        lines.amplitudes[line] = std::sqrt(2.0 / static_cast<double>(numMemoryLines));
    }
    return lines;
}

} // namespace saddletone::ride
