#include "Core/Ride/EngineModel.h"

#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"

#include <algorithm>
#include <cmath>

namespace saddletone::ride {

double EngineModel::levelDba(double rpm, double cruiseRpm) const noexcept
{
    if (!(rpm > 0.0) || !(cruiseRpm > 0.0))
        return dsp::silenceDb;
    return cruiseDba + slopeDbPerDecade * std::log10(rpm / cruiseRpm);
}

double EngineModel::pulseAmplitude(std::size_t halfOrder) const noexcept
{
    const double order = 0.5 * static_cast<double>(halfOrder);
    return 1.0 / std::hypot(1.0, order / pulseCornerOrder);
}

void enginePulseAmplitudes(const EngineModel& model, double rpm, double topHz,
                           std::span<double> amplitudes) noexcept
{
    double weightedSum = 0.0;
    for (std::size_t index = 0; index < amplitudes.size(); ++index) {
        const std::size_t halfOrder = index + 1;
        const double frequencyHz = halfOrderHz(halfOrder, rpm);
        amplitudes[index] = frequencyHz < topHz ? model.pulseAmplitude(halfOrder) : 0.0;
        const double line = amplitudes[index] * model.firing.combWeight(halfOrder)
                            * static_cast<double>(model.firing.numCylinders);
        weightedSum +=
            0.5 * line * line * dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, frequencyHz));
    }
    const double fullScalePower = dsp::dbfsToRms(0.0) * dsp::dbfsToRms(0.0);
    const double scale = weightedSum > 0.0 ? std::sqrt(fullScalePower / weightedSum) : 0.0;
    for (double& amplitude : amplitudes)
        amplitude *= scale;
}

} // namespace saddletone::ride
