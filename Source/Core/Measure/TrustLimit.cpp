#include "Core/Measure/TrustLimit.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::measure {

namespace {

constexpr double shortestZoneSeconds = 0.15;
constexpr double longestZoneSeconds = 0.6;
constexpr double harmonicDecaySeconds = 0.5; // and its decay
constexpr double marginSeconds = 0.02;       // between a zone and the impulse's window

/** Adds the power per unit of window energy of one stretch to the bands. */
std::vector<double> errorIn(const DeconvolvedSweep& deconvolved, double fromSeconds,
                            double toSeconds, std::span<const dsp::Band> bands,
                            dsp::FftStore& transforms)
{
    const double rate = deconvolved.sampleRate;
    const auto numFrames = static_cast<std::size_t>((toSeconds - fromSeconds) * rate);
    const auto fft =
        transforms.real<double>(dsp::fastFftSize(numFrames), dsp::FftDirections::forwardOnly);
    std::ranges::fill(fft->time(), 0.0);
    deconvolved.copyFrom(deconvolved.arrivalFrame
                             + static_cast<std::ptrdiff_t>(std::lround(fromSeconds * rate)),
                         fft->time().first(numFrames));
    // A Hann window, the same from either end.
    double windowEnergy = 0.0;
    for (std::size_t frame = 0; frame < (numFrames + 1) / 2; ++frame) {
        const double window = dsp::raisedCosine((2.0 * static_cast<double>(frame) + 1.0)
                                                / static_cast<double>(numFrames));
        const std::size_t mirrored = numFrames - 1 - frame;
        fft->time()[frame] *= window;
        windowEnergy += window * window;
        if (mirrored != frame) {
            fft->time()[mirrored] *= window;
            windowEnergy += window * window;
        }
    }
    fft->forward();
    std::vector<double> power(fft->numBins());
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = std::norm(fft->spectrum()[bin]) / windowEnergy;
    const double binHz = rate / static_cast<double>(fft->size());
    auto result = dsp::bandPowers(power, binHz, bands);
    for (std::size_t band = 0; band < bands.size(); ++band)
        result[band] /= (bands[band].upperHz - bands[band].lowerHz) / binHz;
    return result;
}

} // namespace

std::vector<double> playingError(const DeconvolvedSweep& deconvolved,
                                 const signals::SweepShape& sweep, const ErrorZones& zones,
                                 std::span<const dsp::Band> bands, dsp::FftStore& transforms)
{
    struct Stretch {
        double fromSeconds = 0.0;
        double toSeconds = 0.0;
    };
    std::vector<Stretch> stretches;

    // Behind the window, in two stretches if there is room, whose mean is taken.
    const double behind = zones.windowAfterSeconds + marginSeconds;
    const double room = zones.lastSeconds - behind;
    if (room >= shortestZoneSeconds) {
        const double stretch = std::min(longestZoneSeconds, room >= 0.6 ? 0.5 * room : room);
        stretches.push_back({behind, behind + stretch});
        if (room >= 2.0 * stretch)
            stretches.push_back({behind + stretch, behind + 2.0 * stretch});
    }
    const std::size_t numBehind = stretches.size();

    // Ahead of it, between the second harmonic's decay and the window.
    const double secondHarmonic =
        -sweepGrowthSeconds(sweep, deconvolved.trackRate) * std::numbers::ln2;
    const double gapBegin = secondHarmonic + harmonicDecaySeconds;
    const double gapEnd = -zones.windowBeforeSeconds - marginSeconds;
    if (gapEnd - gapBegin >= shortestZoneSeconds)
        stretches.push_back({std::max(gapBegin, gapEnd - longestZoneSeconds), gapEnd});

    std::vector<std::vector<double>> errors(stretches.size());
    dsp::runInParallel(stretches.size(), [&](std::size_t index) {
        errors[index] = errorIn(deconvolved, stretches[index].fromSeconds,
                                stretches[index].toSeconds, bands, transforms);
    });
    std::vector<double> largest(bands.size(), -1.0);
    for (std::size_t band = 0; band < bands.size(); ++band) {
        if (numBehind == 2)
            largest[band] = 0.5 * (errors[0][band] + errors[1][band]);
        else if (numBehind == 1)
            largest[band] = errors[0][band];
        if (stretches.size() > numBehind)
            largest[band] = std::max(largest[band], errors.back()[band]);
    }
    return largest;
}

std::optional<double> findCutHz(const Response& response, dsp::FftStore& transforms)
{
    constexpr double lowestCutHz = 5000.0;
    constexpr int perOctave = 48;
    constexpr std::size_t fallSteps = 3;       // a sixteenth of an octave
    constexpr std::size_t referenceSteps = 12; // a quarter
    constexpr double fallDb = 12.0;
    constexpr double stillThereDb = 3.0;
    std::vector<double> grid;
    const double lowestStep = perOctave * std::log2(0.8 * lowestCutHz / response.toHz);
    for (int step = 0; step >= lowestStep; --step)
        grid.push_back(response.toHz * std::exp2(static_cast<double>(step) / perOctave));
    std::ranges::reverse(grid);
    if (grid.size() < referenceSteps + fallSteps + 2 || response.fromHz > grid.front())
        return std::nullopt;
    const auto levels = response.magnitudeDb(grid, 24, transforms);

    double highestAbove = dsp::silenceDb; // of all points at least fallSteps above
    for (std::size_t index = grid.size() - fallSteps; index-- > referenceSteps;) {
        highestAbove = std::max(highestAbove, levels[index + fallSteps]);
        double reference = 0.0;
        for (std::size_t step = 1; step <= referenceSteps; ++step)
            reference += levels[index - step] / static_cast<double>(referenceSteps);
        if (highestAbove > reference - fallDb)
            continue;
        if (levels[index] >= reference - stillThereDb && grid[index] >= lowestCutHz)
            return grid[index] * std::exp2(-1.0 / 24.0);
    }
    return std::nullopt;
}

} // namespace saddletone::measure
