#include "CommandLine/TableColumns.h"

#include "Core/Dsp/OctaveBands.h"

#include <numbers>

namespace saddletone::commandline {

std::vector<double> tableFrequencies(double fromHz, double toHz)
{
    std::vector<double> frequencies;
    for (const dsp::Band& band : dsp::octaveBands(24, 20.0, 20000.0))
        if (band.centreHz >= fromHz && band.centreHz <= toHz)
            frequencies.push_back(band.centreHz);
    return frequencies;
}

std::vector<double> phasesDegrees(const std::vector<std::complex<double>>& values)
{
    std::vector<double> phases;
    for (const auto& value : values)
        phases.push_back(std::arg(value) * 180.0 / std::numbers::pi);
    return phases;
}

} // namespace saddletone::commandline
