#include "Core/Ride/Helmet.h"

#include <algorithm>
#include <cmath>
#include <string>

namespace saddletone::ride {

namespace {

constexpr std::array<double, 9> octavesHz {31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000};
constexpr std::array<double, 9> noHelmetLossDb {};
constexpr std::array<double, 9> openFaceLossDb {0, 0, -1, -1, 0, 3, 8, 13, 18};
constexpr std::array<double, 9> fullFaceLossDb {-1, -2, -3, -2, 1, 7, 15, 23, 30};

const std::array<double, 9>& lossTable(Helmet helmet) noexcept
{
    switch (helmet) {
    case Helmet::openFace: return openFaceLossDb;
    case Helmet::fullFace: return fullFaceLossDb;
    case Helmet::none: break;
    }
    return noHelmetLossDb;
}

} // namespace

std::string_view helmetName(Helmet helmet) noexcept
{
    switch (helmet) {
    case Helmet::openFace: return "open";
    case Helmet::fullFace: return "full";
    case Helmet::none: break;
    }
    return "none";
}

std::string_view helmetLabel(Helmet helmet) noexcept
{
    switch (helmet) {
    case Helmet::openFace: return "open-face helmet";
    case Helmet::fullFace: return "full-face helmet";
    case Helmet::none: break;
    }
    return "no helmet";
}

dsp::Result<Helmet> parseHelmet(std::string_view name)
{
    for (const Helmet helmet : allHelmets)
        if (helmetName(helmet) == name)
            return helmet;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "helmet '" + std::string(name) + "' is not known; use none, open or full");
}

std::span<const double> octaveCentresHz() noexcept
{
    return octavesHz;
}

double insertionLossDb(Helmet helmet, double frequencyHz) noexcept
{
    const auto& table = lossTable(helmet);
    if (frequencyHz <= octavesHz.front())
        return table.front();
    if (frequencyHz >= octavesHz.back())
        return table.back();
    const auto above = std::ranges::upper_bound(octavesHz, frequencyHz);
    const auto index = static_cast<std::size_t>(above - octavesHz.begin());
    const double position = std::log(frequencyHz / octavesHz[index - 1])
                            / std::log(octavesHz[index] / octavesHz[index - 1]);
    return table[index - 1] + position * (table[index] - table[index - 1]);
}

} // namespace saddletone::ride
