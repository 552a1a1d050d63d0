#include "Core/Tuning/AmplifierPower.h"

#include "Core/Dsp/Units.h"

#include <cmath>

namespace saddletone::tuning {

double Amplifier::peakVolts() const noexcept
{
    return std::sqrt(2.0 * powerWatts * impedanceOhm);
}

double wattsForSpl(double splDb, double sensitivityDbSpl, double distanceMetres,
                   int numSpeakers) noexcept
{
    return dsp::dbToPower(splDb - sensitivityDbSpl) * distanceMetres * distanceMetres
           / static_cast<double>(numSpeakers);
}

double clipMarginDb(const Amplifier& amplifier, double programmeVolts,
                    double crestFactorDb) noexcept
{
    return dsp::amplitudeToDb(amplifier.peakVolts()) - dsp::amplitudeToDb(programmeVolts)
           - crestFactorDb;
}

} // namespace saddletone::tuning
