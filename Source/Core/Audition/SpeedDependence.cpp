#include "Core/Audition/SpeedDependence.h"

#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/InnerPath.h"

#include <algorithm>
#include <cmath>

namespace saddletone::audition {

namespace {

constexpr double lowestHz = 20.0;
constexpr int smoothingPerOctave = 12;
constexpr std::size_t filterBins = 4096;

/** Magnitude of the filter that turns one response into the mix of both, dB, evenly spaced. */
std::vector<double> mixFilterDb(const measure::Response& lower, const measure::Response& upper,
                                double mix)
{
    const double binHz = 0.5 * lower.sampleRate / static_cast<double>(filterBins);
    // Beyond the range that both measured the filter holds its last value.
    const double fromHz = std::max({lowestHz, lower.fromHz, upper.fromHz});
    const double toHz = std::min({0.45 * lower.sampleRate, lower.toHz, upper.toHz});
    std::vector<double> frequenciesHz;
    for (std::size_t bin = 0; bin <= filterBins; ++bin)
        frequenciesHz.push_back(std::clamp(static_cast<double>(bin) * binHz, fromHz, toHz));
    const auto lowerDb = lower.magnitudeDb(frequenciesHz, smoothingPerOctave);
    auto upperDb = upper.magnitudeDb(frequenciesHz, smoothingPerOctave);
    if (lower.hasCalibration && upper.hasCalibration)
        for (double& levelDb : upperDb)
            levelDb += upper.calibration.splAtFullScaleDb() - lower.calibration.splAtFullScaleDb();
    std::vector<double> filterDb = ride::mixedMagnitudeDb(lowerDb, upperDb, mix);
    for (std::size_t bin = 0; bin <= filterBins; ++bin)
        filterDb[bin] -= lowerDb[bin];
    return filterDb;
}

} // namespace

dsp::Result<std::shared_ptr<const SpeedDependence>>
loadSpeedDependence(const std::filesystem::path& file)
{
    auto volume = ride::loadSpeedVolume(file);
    if (!volume)
        return volume.unexpected();
    auto dependence = std::make_shared<SpeedDependence>();
    for (const ride::SpeedState& state : volume->states) {
        const auto stateFile = files::resolveInside(file.parent_path(), state.stateFile);
        if (!stateFile)
            return dsp::fail(stateFile.error().code,
                             "'" + file.string() + "': " + stateFile.error().message);
        auto response = measure::loadResponse(*stateFile);
        if (!response)
            return response.unexpected();
        if (response->impulse.empty())
            return dsp::fail(dsp::ErrorCode::malformed,
                             "'" + file.string() + "': '" + state.stateFile
                                 + "' has no impulse response; measure the state with a sweep");
        if (!dependence->states.empty()
            && response->sampleRate != dependence->states.front().sampleRate)
            return dsp::fail(dsp::ErrorCode::malformed,
                             "'" + file.string() + "': '" + state.stateFile
                                 + "' has another sample rate than the first state; measure all "
                                   "of them at one rate");
        dependence->states.push_back(std::move(*response));
    }
    dependence->volume = std::move(*volume);
    return std::shared_ptr<const SpeedDependence>(std::move(dependence));
}

measure::Response responseAtSpeed(const SpeedDependence& dependence, double speedKmh)
{
    const ride::StateMix at = dependence.volume.stateMixAt(speedKmh);
    const measure::Response& lower = dependence.states[at.lower];
    if (at.lower == at.upper)
        return lower;
    const auto filterDb = mixFilterDb(lower, dependence.states[at.upper], at.mix);
    std::vector<double> magnitude(filterDb.size());
    std::ranges::transform(filterDb, magnitude.begin(), dsp::dbToAmplitude);
    const auto filter = dsp::minimumPhaseImpulse(magnitude);

    measure::Response mixed = lower;
    const std::vector<double> taps(lower.impulse.begin(), lower.impulse.end());
    const auto filtered = dsp::convolve(taps, filter);
    std::transform(filtered.begin(),
                   filtered.begin() + static_cast<std::ptrdiff_t>(mixed.impulse.size()),
                   mixed.impulse.begin(), [](double tap) { return static_cast<float>(tap); });
    for (measure::BandConfidence& band : mixed.bands) {
        const auto& others = dependence.states[at.upper].bands;
        const auto other =
            std::ranges::find(others, band.frequencyHz, &measure::BandConfidence::frequencyHz);
        if (other == others.end())
            continue;
        band.levelDb += at.mix * (other->levelDb - band.levelDb);
        band.uncertaintyDb = std::max(band.uncertaintyDb, other->uncertaintyDb);
        band.trusted = band.trusted && other->trusted;
    }
    return mixed;
}

} // namespace saddletone::audition
