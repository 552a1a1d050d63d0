#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>

namespace saddletone::dsp {

inline constexpr double twoPi = 2.0 * std::numbers::pi;

/** The floor every logarithm here returns for silence, in dB: below any figure audio can hold. */
inline constexpr double silenceDb = -400.0;

/** 20 log10 of an amplitude ratio; silenceDb for zero. */
[[nodiscard]] inline double amplitudeToDb(double amplitude) noexcept
{
    const double magnitude = std::abs(amplitude);
    return magnitude > 1e-20 ? 20.0 * std::log10(magnitude) : silenceDb;
}

/** 10 log10 of a power ratio; silenceDb for zero. */
[[nodiscard]] inline double powerToDb(double power) noexcept
{
    return power > 1e-40 ? 10.0 * std::log10(power) : silenceDb;
}

[[nodiscard]] inline double dbToAmplitude(double db) noexcept
{
    return std::pow(10.0, db / 20.0);
}

[[nodiscard]] inline double dbToPower(double db) noexcept
{
    return std::pow(10.0, db / 10.0);
}

/** Digital level by AES17: the RMS of a full-scale sine (1/sqrt 2) reads 0 dBFS. */
[[nodiscard]] inline double rmsToDbfs(double rms) noexcept
{
    return amplitudeToDb(rms * std::numbers::sqrt2);
}

/** The RMS (1.0 = full scale) that reads levelDbfs by AES17. */
[[nodiscard]] inline double dbfsToRms(double levelDbfs) noexcept
{
    return dbToAmplitude(levelDbfs) / std::numbers::sqrt2;
}

inline constexpr double kmhPerMph = 1.609344; ///< International mile, exact.

[[nodiscard]] inline constexpr double mphToKmh(double speedMph) noexcept
{
    return speedMph * kmhPerMph;
}

[[nodiscard]] inline constexpr double kmhToMph(double speedKmh) noexcept
{
    return speedKmh / kmhPerMph;
}

} // namespace saddletone::dsp
