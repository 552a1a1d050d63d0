#pragma once

#include <array>
#include <cstddef>

namespace saddletone::seat {

/** Radius of the sphere that stands for a head: 8.75 cm (Kuhn, JASA 62(1), 1977). */
inline constexpr double headRadiusMetres = 0.0875;
/** Air at 20 degrees C. */
inline constexpr double soundSpeedMetresPerSecond = 343.0;

/** Ears, as indices of all pairs here. */
inline constexpr std::size_t leftEar = 0;
inline constexpr std::size_t rightEar = 1;
inline constexpr std::size_t numEars = 2;

/** Where a sound comes from, seen from the middle of the head (AES69): azimuth counter-clockwise
    from straight ahead, so that 90 is the left ear; elevation upwards, -90 to 90. */
struct Direction {
    double azimuthDegrees = 0.0;
    double elevationDegrees = 0.0;

    bool operator==(const Direction&) const = default;
};

/** The unit vector of a direction: ahead, left, up. */
[[nodiscard]] std::array<double, 3> unitVector(const Direction& direction) noexcept;

/** Angle of a direction from the plane that halves the head, -pi/2 to pi/2, left positive. */
[[nodiscard]] double lateralAngleRadians(const Direction& direction) noexcept;

/** Angle between two directions in degrees. */
[[nodiscard]] double angleBetweenDegrees(const Direction& one, const Direction& other) noexcept;

/** How much later than at the middle of a sphere a far sound's front arrives at each ear, in
    seconds: r/c sin(angle) early at the near ear, r/c angle late at the far one, so that they
    differ by r/c (angle + sin(angle)) (Woodworth, Experimental Psychology, 1938). */
[[nodiscard]] std::array<double, numEars> frontDelaysSeconds(const Direction& direction) noexcept;

/** The same of the phase at low frequencies, where the wave bends round the sphere: the ears differ
    by 3 r/c sin(angle) (Kuhn, JASA 62(1), 1977). */
[[nodiscard]] std::array<double, numEars>
lowFrequencyDelaysSeconds(const Direction& direction) noexcept;

/** By how much more or less each ear hears of a near sound than at the middle of the head: the
    pressure on a rigid sphere at low frequencies, re the same source without the sphere, the sum
    over n of (2n + 1)/(n + 1) (a/r)^n P_n(cos(angle to the ear)), which follows from Laplace's
    equation. Without the delay. distanceMetres: from the middle of the head, 0.2 or more. */
[[nodiscard]] std::array<double, numEars> nearFieldGains(const Direction& direction,
                                                         double distanceMetres) noexcept;

} // namespace saddletone::seat
