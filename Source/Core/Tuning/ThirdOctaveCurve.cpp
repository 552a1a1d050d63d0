#include "Core/Tuning/ThirdOctaveCurve.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace saddletone::tuning {

namespace {

Straying strayingOf(const ThirdOctaveCurve& curve, const std::vector<double>& deviationsDb)
{
    if (deviationsDb.empty())
        return {};
    const auto [lowest, highest] = std::ranges::minmax_element(deviationsDb);
    const double medianDb = dsp::medianOf(deviationsDb);
    const auto& low = curve.bands[static_cast<std::size_t>(lowest - deviationsDb.begin())];
    const auto& high = curve.bands[static_cast<std::size_t>(highest - deviationsDb.begin())];
    Straying straying;
    straying.sizeDb = 0.5 * (*highest - *lowest);
    straying.isAbove = *highest - medianDb >= medianDb - *lowest;
    straying.frequencyHz = straying.isAbove ? high.frequencyHz : low.frequencyHz;
    straying.interval95Db = 0.5 * std::hypot(low.interval95Db, high.interval95Db);
    return straying;
}

} // namespace

std::array<double, numBandParts> bandPartsHz(double bandHz) noexcept
{
    std::array<double, numBandParts> partsHz {};
    for (std::size_t part = 0; part < numBandParts; ++part) {
        // IEC 61260-1: a third octave is a tenth of a decade, so its edges lie 0.5 dB of frequency
        // off its middle.
        const double offset = (static_cast<double>(part) + 0.5) / numBandParts - 0.5;
        partsHz[part] = bandHz * dsp::dbToPower(offset);
    }
    return partsHz;
}

ThirdOctaveCurve thirdOctaveCurve(const measure::Response& response, const FitTarget& target,
                                  double fromHz, double toHz)
{
    ThirdOctaveCurve curve;
    std::vector<double> partsHz;
    for (const dsp::Band& wanted : dsp::thirdOctaveBands()) {
        if (wanted.upperHz <= fromHz || wanted.lowerHz >= toHz)
            continue;
        const double bandHz = wanted.centreHz;
        const auto band = std::ranges::find_if(response.bands, [&](const auto& candidate) {
            return std::abs(candidate.frequencyHz / bandHz - 1.0) < 1e-3;
        });
        if (band == response.bands.end() || !band->trusted || !target.isKnownAt(bandHz)) {
            curve.untrustedHz.push_back(bandHz);
            continue;
        }
        const double intervalDb =
            band->interval95Db > 0.0 ? band->interval95Db : dsp::normal95 * band->uncertaintyDb;
        curve.bands.push_back({bandHz, band->levelDb - target.levelDbAt(bandHz), intervalDb, {}});
        std::ranges::copy(bandPartsHz(bandHz), std::back_inserter(partsHz));
    }
    const std::vector<double> levelsDb = response.magnitudeDb(partsHz, 24);
    for (std::size_t index = 0; index < curve.bands.size(); ++index) {
        auto& shares = curve.bands[index].partShares;
        for (std::size_t part = 0; part < numBandParts; ++part) {
            // Parts are wider the higher they lie.
            const std::size_t position = index * numBandParts + part;
            shares[part] = dsp::dbToPower(levelsDb[position]) * partsHz[position];
        }
        const double sum = std::accumulate(shares.begin(), shares.end(), 0.0);
        for (double& share : shares)
            share = sum > 0.0 ? share / sum : 1.0 / numBandParts;
    }
    return curve;
}

Straying strayingOf(const ThirdOctaveCurve& curve)
{
    std::vector<double> deviationsDb;
    for (const ThirdOctave& band : curve.bands)
        deviationsDb.push_back(band.deviationDb);
    return strayingOf(curve, deviationsDb);
}

Straying strayingOf(const ThirdOctaveCurve& curve, const Tuning& tuning, OutputGroup output)
{
    std::vector<double> deviationsDb;
    for (const ThirdOctave& band : curve.bands) {
        const auto partsHz = bandPartsHz(band.frequencyHz);
        double gain = 0.0;
        for (std::size_t part = 0; part < numBandParts; ++part)
            gain += band.partShares[part] * std::norm(idealResponse(tuning, output, partsHz[part]));
        deviationsDb.push_back(band.deviationDb + dsp::powerToDb(gain));
    }
    return strayingOf(curve, deviationsDb);
}

} // namespace saddletone::tuning
