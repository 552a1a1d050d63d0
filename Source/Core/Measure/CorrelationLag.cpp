#include "Core/Measure/CorrelationLag.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace saddletone::measure {

double markerBand(const signals::MarkerShape& marker, double frequencyHz) noexcept
{
    const double edgeHz = 0.1 * marker.fromHz;
    const double low =
        std::clamp((frequencyHz - marker.fromHz + edgeHz) / (2.0 * edgeHz), 0.0, 1.0);
    const double high =
        std::clamp((marker.toHz + 4.0 * edgeHz - frequencyHz) / (8.0 * edgeHz), 0.0, 1.0);
    return low * high;
}

double refineLag(std::span<const std::complex<double>> cross, std::size_t size, double startLag,
                 std::size_t firstBin, std::size_t lastBin) noexcept
{
    double lag = startLag;
    const double radiansPerBin = 2.0 * std::numbers::pi / static_cast<double>(size);
    // Neighbouring bins are turned by a recurrence, which starts afresh before its rounding counts.
    constexpr std::size_t binsAtOnce = 64;
    for (int iteration = 0; iteration < 20; ++iteration) {
        double slope = 0.0;
        double curvature = 0.0;
        const double stepReal = std::cos(radiansPerBin * lag);
        const double stepImag = std::sin(radiansPerBin * lag);
        for (std::size_t begin = firstBin; begin <= lastBin; begin += binsAtOnce) {
            const double angle = radiansPerBin * static_cast<double>(begin) * lag;
            double turnReal = std::cos(angle);
            double turnImag = std::sin(angle);
            for (std::size_t bin = begin; bin <= std::min(begin + binsAtOnce - 1, lastBin); ++bin) {
                const double omega = radiansPerBin * static_cast<double>(bin);
                const double real = cross[bin].real() * turnReal - cross[bin].imag() * turnImag;
                const double imag = cross[bin].real() * turnImag + cross[bin].imag() * turnReal;
                slope -= omega * imag;
                curvature -= omega * omega * real;
                const double next = turnReal * stepReal - turnImag * stepImag;
                turnImag = turnReal * stepImag + turnImag * stepReal;
                turnReal = next;
            }
        }
        if (!(curvature < 0.0))
            break;
        const double move = std::clamp(-slope / curvature, -0.5, 0.5);
        lag += move;
        if (std::abs(move) < 1e-10)
            break;
    }
    return lag;
}

} // namespace saddletone::measure
