#include "Core/Ride/WindModel.h"

#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::ride {

namespace {

constexpr std::size_t numOctaves = 9;
constexpr std::array<double, numOctaves> fullFaceDb {5.4,  8.4,   7.4,   4.4,  -1.6,
                                                     -9.6, -18.6, -27.6, -37.6};
constexpr std::array<double, numOctaves> openFaceDb {3.6,  6.6,   5.6,   3.6,  -1.4,
                                                     -7.4, -14.4, -22.4, -31.4};
constexpr std::array<double, numOctaves> bareHeadDb {3.4,  4.4,   3.4,   1.4,  -1.6,
                                                     -5.6, -10.6, -17.6, -25.6};

/** Spectrum level in dB at a frequency: straight lines over log frequency between nodes at the
    octave centres, the last slope going on above, flat below down to lowestHz and falling
    12 dB an octave under it. */
double spectrumLevelDb(const std::array<double, numOctaves>& nodesDb, double frequencyHz)
{
    constexpr double lowestHz = 22.0;
    const auto centres = octaveCentresHz();
    if (frequencyHz <= centres.front()) {
        const double below =
            frequencyHz < lowestHz ? 12.0 * std::log2(lowestHz / frequencyHz) : 0.0;
        return nodesDb.front() - below;
    }
    const auto above = std::ranges::upper_bound(centres, frequencyHz);
    const auto index = std::min(static_cast<std::size_t>(above - centres.begin()), numOctaves - 1);
    const double position =
        std::log(frequencyHz / centres[index - 1]) / std::log(centres[index] / centres[index - 1]);
    return nodesDb[index - 1] + position * (nodesDb[index] - nodesDb[index - 1]);
}

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

std::span<const double> windOctaveLevelsDb(Helmet helmet) noexcept
{
    switch (helmet) {
    case Helmet::openFace: return openFaceDb;
    case Helmet::none: return bareHeadDb;
    case Helmet::fullFace: break;
    }
    return fullFaceDb;
}

std::vector<double> windPowerPerBin(Helmet helmet, double sampleRate, std::size_t numBins)
{
    const auto centres = octaveCentresHz();
    const auto wantedDb = windOctaveLevelsDb(helmet);
    const double binHz = 0.5 * sampleRate / static_cast<double>(numBins - 1);

    std::array<double, numOctaves> nodesDb {};
    for (std::size_t octave = 0; octave < numOctaves; ++octave)
        nodesDb[octave] = wantedDb[octave] - dsp::powerToDb(centres[octave] / std::numbers::sqrt2);

    // Straight lines between nodes do not give the band sums exactly; a few corrections of each
    // node by its band's error do. Integrated on a fine grid of its own, so that the result does
    // not depend on the bins asked for.
    constexpr int pointsPerOctave = 48;
    for (int iteration = 0; iteration < 20; ++iteration)
        for (std::size_t octave = 0; octave < numOctaves; ++octave) {
            double power = 0.0;
            for (int point = 0; point < pointsPerOctave; ++point) {
                const double exponent = (point + 0.5) / pointsPerOctave - 0.5;
                const double frequencyHz = centres[octave] * std::exp2(exponent);
                const double widthHz = frequencyHz * std::numbers::ln2 / pointsPerOctave;
                power += widthHz * dsp::dbToPower(spectrumLevelDb(nodesDb, frequencyHz));
            }
            nodesDb[octave] += 0.7 * (wantedDb[octave] - dsp::powerToDb(power));
        }

    std::vector<double> power(numBins);
    double weightedSum = 0.0;
    for (std::size_t bin = 1; bin < numBins; ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        power[bin] = binHz * dsp::dbToPower(spectrumLevelDb(nodesDb, frequencyHz));
        weightedSum +=
            power[bin] * dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, frequencyHz));
    }
    const double fullScalePower = dsp::dbfsToRms(0.0) * dsp::dbfsToRms(0.0);
    for (double& value : power)
        value *= fullScalePower / weightedSum;
    return power;
}

} // namespace saddletone::ride
