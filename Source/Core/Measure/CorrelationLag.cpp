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
    for (int iteration = 0; iteration < 20; ++iteration) {
        double slope = 0.0;
        double curvature = 0.0;
        for (std::size_t bin = firstBin; bin <= lastBin; ++bin) {
            const double omega = radiansPerBin * static_cast<double>(bin);
            const std::complex<double> turned = cross[bin] * std::polar(1.0, omega * lag);
            slope -= omega * turned.imag();
            curvature -= omega * omega * turned.real();
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
