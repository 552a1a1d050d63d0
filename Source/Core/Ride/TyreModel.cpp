#include "Core/Ride/TyreModel.h"

#include "Core/Dsp/Units.h"

#include <cmath>

namespace saddletone::ride {

double TyreModel::levelDba(double speedKmh) const noexcept
{
    if (!(speedKmh > 0.0))
        return dsp::silenceDb;
    return anchorDba + slopeDbPerDecade * std::log10(speedKmh / anchorSpeedKmh);
}

double TyreModel::treadToneHz(double speedKmh) const noexcept
{
    return speedKmh / 3.6 / treadPitchMetres;
}

double tyreDensityDb(double frequencyHz) noexcept
{
    // The outer edges of the third octaves of 800 and 1250 Hz (IEC 61260-1, base ten).
    const double lowerHz = 1000.0 * std::pow(10.0, -0.15);
    const double upperHz = 1000.0 * std::pow(10.0, 0.15);
    double bandDb = 0.0;
    if (frequencyHz < lowerHz)
        bandDb = -tyreFallBelowDbPerOctave * std::log2(lowerHz / frequencyHz);
    if (frequencyHz > upperHz)
        bandDb = -tyreFallAboveDbPerOctave * std::log2(frequencyHz / upperHz);
    // A band's width grows with its frequency.
    return bandDb - dsp::powerToDb(frequencyHz);
}

} // namespace saddletone::ride
