#include "Core/Ride/WindModel.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace saddletone::ride {

namespace {

constexpr std::size_t numOctaves = 9;
constexpr std::array<double, numOctaves> fullFaceDb {5.4,  8.4,   7.4,   4.4,  -1.6,
                                                     -9.6, -18.6, -27.6, -37.6};
constexpr std::array<double, numOctaves> openFaceDb {3.6,  6.6,   5.6,   3.6,  -1.4,
                                                     -7.4, -14.4, -22.4, -31.4};
constexpr std::array<double, numOctaves> bareHeadDb {3.4,  4.4,   3.4,   1.4,  -1.6,
                                                     -5.6, -10.6, -17.6, -25.6};

} // namespace

double WindModel::levelDba(double speedKmh, Helmet helmet) const noexcept
{
    if (!(speedKmh > 0.0))
        return dsp::silenceDb;
    const double level = anchorDba + slopeDbPerDecade * std::log10(speedKmh / anchorSpeedKmh);
    switch (helmet) {
    case Helmet::openFace: return level + openFaceOffsetDb;
    case Helmet::none: return level + bareHeadOffsetDb;
    case Helmet::fullFace: break;
    }
    return level;
}

double WindModel::levelDba(double speedKmh, Helmet helmet, Screen screen) const noexcept
{
    const double level = levelDba(speedKmh, helmet);
    if (level <= dsp::silenceDb)
        return level;
    switch (screen) {
    case Screen::low: return level + lowScreenOffsetDb;
    case Screen::tall: return level + tallScreenOffsetDb;
    case Screen::none: break;
    }
    return level;
}

double WindModel::earCoherence(double frequencyHz, double speedKmh) const noexcept
{
    const double convectionMetresPerSecond = convectionRatio * std::max(speedKmh, 1.0) / 3.6;
    const double strouhal =
        2.0 * std::numbers::pi * frequencyHz * earSpacingMetres / convectionMetresPerSecond;
    return std::exp(-coherenceDecay * strouhal);
}

std::span<const double> windOctaveLevelsDb(Helmet helmet) noexcept
{
    switch (helmet) {
    case Helmet::openFace: return openFaceDb;
    case Helmet::none: return bareHeadDb;
    case Helmet::fullFace: break;
    }
    return fullFaceDb;
}

} // namespace saddletone::ride
