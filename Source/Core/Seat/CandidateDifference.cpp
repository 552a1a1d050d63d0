#include "Core/Seat/CandidateDifference.h"

#include "Core/Dsp/Units.h"
#include "Core/Seat/SpectrumShape.h"

#include <algorithm>
#include <cmath>
#include <string>

namespace saddletone::seat {

namespace {

/** Below the highest level of the first candidate, where its inverse is held back. */
constexpr double regularisationDb = -60.0;

dsp::Unexpected refuse(const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::outOfRange, "difference of two candidates: " + reason);
}

dsp::Result<void> check(const DifferenceSettings& settings)
{
    if (const auto checked =
            checkFilterLimits("difference of two candidates", settings.sampleRate, settings.numTaps,
                              settings.maxBoostDb, settings.maxCutDb);
        !checked)
        return checked;
    if (!(settings.smoothingOctaves >= 1.0 / 24.0 && settings.smoothingOctaves <= 1.0))
        return refuse("the smoothing must be 1/24 to 1 octave");
    if (!(settings.fromHz >= 1.0 && settings.toHz >= 2.0 * settings.fromHz))
        return refuse("the range must begin at 1 Hz or above and reach over an octave");
    return {};
}

dsp::Result<void> checkTaps(std::span<const float> taps, const std::string& name)
{
    if (std::ranges::any_of(taps, [](float tap) { return !std::isfinite(tap); }))
        return refuse("the taps of the " + name + " candidate are not all finite");
    if (std::ranges::all_of(taps, [](float tap) { return tap == 0.0F; }))
        return refuse("the " + name + " candidate is silent on this side; choose another one");
    return {};
}

std::vector<double> smoothedPowerOf(std::span<const float> taps, std::size_t size, double octaves)
{
    const std::vector<double> impulse(taps.begin(), taps.end());
    auto power = magnitudesOf(impulse, size);
    for (double& value : power)
        value *= value;
    return smoothedPower(power, octaves);
}

} // namespace

dsp::Result<CandidateDifference> candidateDifference(std::span<const float> fromTaps,
                                                     std::span<const float> toTaps,
                                                     const DifferenceSettings& settings)
{
    if (const auto checked = check(settings); !checked)
        return checked.unexpected();
    if (const auto checked = checkTaps(fromTaps, "first"); !checked)
        return checked.unexpected();
    if (const auto checked = checkTaps(toTaps, "second"); !checked)
        return checked.unexpected();

    std::size_t size = designSizeFor(settings.sampleRate);
    while (size < std::max(fromTaps.size(), toTaps.size()))
        size *= 2;
    const double binHz = settings.sampleRate / static_cast<double>(size);
    const auto from = smoothedPowerOf(fromTaps, size, settings.smoothingOctaves);
    const auto to = smoothedPowerOf(toTaps, size, settings.smoothingOctaves);
    const double beta = *std::ranges::max_element(from) * dsp::dbToPower(regularisationDb);

    const double highest = dsp::dbToAmplitude(settings.maxBoostDb);
    const double lowest = dsp::dbToAmplitude(-settings.maxCutDb);
    const double topHz = std::min(settings.toHz, 0.45 * settings.sampleRate);
    const auto wantedAt = [&](double frequencyHz) {
        const double insideHz = std::clamp(frequencyHz, settings.fromHz, topHz);
        const auto bin = static_cast<std::size_t>(std::lround(insideHz / binHz));
        return std::sqrt(to[bin] * from[bin]) / (from[bin] + beta);
    };
    std::vector<double> gain(from.size());
    for (std::size_t bin = 0; bin < gain.size(); ++bin)
        gain[bin] = std::clamp(wantedAt(static_cast<double>(bin) * binHz), lowest, highest);

    CandidateDifference difference;
    difference.taps = minimumPhaseTaps(gain, settings.numTaps);
    difference.highestGainDb = keepBelow(settings.maxBoostDb, size, difference.taps);
    difference.frequenciesHz = curveFrequencies(settings.fromHz, topHz);
    const auto magnitudes = magnitudesOf(difference.taps, size);
    std::size_t numLimited = 0;
    for (const double frequencyHz : difference.frequenciesHz) {
        const auto bin = static_cast<std::size_t>(std::lround(frequencyHz / binHz));
        const double wantedDb = dsp::amplitudeToDb(wantedAt(frequencyHz));
        difference.wantedDb.push_back(wantedDb);
        difference.filterDb.push_back(dsp::amplitudeToDb(magnitudes[bin]));
        numLimited +=
            wantedDb > settings.maxBoostDb + 0.5 || wantedDb < -settings.maxCutDb - 0.5 ? 1 : 0;
    }
    difference.limitedProportion =
        static_cast<double>(numLimited) / static_cast<double>(difference.frequenciesHz.size());
    return difference;
}

} // namespace saddletone::seat
