#include "Core/Seat/SphericalHead.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace saddletone::seat {

namespace {

constexpr double radiansPerDegree = std::numbers::pi / 180.0;

} // namespace

std::array<double, 3> unitVector(const Direction& direction) noexcept
{
    const double azimuth = direction.azimuthDegrees * radiansPerDegree;
    const double elevation = direction.elevationDegrees * radiansPerDegree;
    return {std::cos(azimuth) * std::cos(elevation), std::sin(azimuth) * std::cos(elevation),
            std::sin(elevation)};
}

double lateralAngleRadians(const Direction& direction) noexcept
{
    return std::asin(std::clamp(unitVector(direction)[1], -1.0, 1.0));
}

double angleBetweenDegrees(const Direction& one, const Direction& other) noexcept
{
    const auto first = unitVector(one);
    const auto second = unitVector(other);
    // By the chord, as the cosine of small angles loses digits.
    const double chord =
        std::hypot(first[0] - second[0], first[1] - second[1], first[2] - second[2]);
    return 2.0 * std::asin(std::min(1.0, 0.5 * chord)) / radiansPerDegree;
}

std::array<double, numEars> frontDelaysSeconds(const Direction& direction) noexcept
{
    const double angle = lateralAngleRadians(direction);
    const double transit = headRadiusMetres / soundSpeedMetresPerSecond;
    const double early = -transit * std::sin(std::abs(angle));
    const double late = transit * std::abs(angle);
    return angle >= 0.0 ? std::array {early, late} : std::array {late, early};
}

std::array<double, numEars> lowFrequencyDelaysSeconds(const Direction& direction) noexcept
{
    const double half = 1.5 * headRadiusMetres / soundSpeedMetresPerSecond
                        * std::sin(lateralAngleRadians(direction));
    return {-half, half};
}

std::array<double, numEars> nearFieldGains(const Direction& direction,
                                           double distanceMetres) noexcept
{
    const double ratio = headRadiusMetres / distanceMetres;
    const double towardsLeft = unitVector(direction)[1];
    std::array<double, numEars> gains {};
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        const double cosine = ear == leftEar ? towardsLeft : -towardsLeft;
        // Legendre polynomials by Bonnet's recursion; (a/r)^30 is below 1e-10.
        constexpr int numTerms = 30;
        double before = 1.0;
        double polynomial = cosine;
        double power = ratio;
        gains[ear] = 1.0;
        for (int n = 1; n < numTerms; ++n) {
            gains[ear] += (2.0 * n + 1.0) / (n + 1.0) * power * polynomial;
            const double next = ((2.0 * n + 1.0) * cosine * polynomial - n * before) / (n + 1.0);
            before = polynomial;
            polynomial = next;
            power *= ratio;
        }
    }
    return gains;
}

} // namespace saddletone::seat
