#include "Core/Measure/HarmonicDistortion.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::measure {

namespace {

constexpr double longestCutSeconds = 0.5;
// Of the distance to the next order on either side; the rest is left to the decay of the higher
// order in front and to the ringing ahead of the lower one behind.
constexpr double shareBefore = 0.1;
constexpr double shareAfter = 0.8;

/** Power per bin of a transform. */
std::vector<double> powerOf(dsp::RealFft<double>& fft)
{
    fft.forward();
    std::vector<double> power(fft.numBins());
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = std::norm(fft.spectrum()[bin]);
    return power;
}

/** Mean per bin over a band. */
double meanOver(std::span<const double> perBin, double binHz, double lowerHz, double upperHz)
{
    const std::array<dsp::Band, 1> band {dsp::Band {0.5 * (lowerHz + upperHz), lowerHz, upperHz}};
    return dsp::bandPowers(perBin, binHz, band).front() / ((upperHz - lowerHz) / binHz);
}

} // namespace

void DeconvolvedSweep::copyFrom(std::ptrdiff_t begin, std::span<double> frames) const noexcept
{
    const auto total = static_cast<std::ptrdiff_t>(samples.size());
    auto place = static_cast<std::size_t>((begin % total + total) % total);
    for (double& frame : frames) {
        frame = static_cast<double>(samples[place]);
        ++place;
        if (place == samples.size())
            place = 0;
    }
}

double sweepGrowthSeconds(const signals::SweepShape& sweep, double sampleRate) noexcept
{
    return static_cast<double>(sweep.numFrames) / sampleRate / std::log(sweep.toHz / sweep.fromHz);
}

std::vector<HarmonicOrder> harmonicDistortion(const DeconvolvedSweep& deconvolved,
                                              std::span<const double> linearImpulse,
                                              const signals::SweepShape& sweep, double fromHz,
                                              double toHz, dsp::FftStore& transforms)
{
    const double rate = deconvolved.sampleRate;
    const double growthSeconds = sweepGrowthSeconds(sweep, deconvolved.trackRate);
    const std::size_t size = dsp::fastFftSize(
        std::max(linearImpulse.size(), static_cast<std::size_t>(longestCutSeconds * 2.0 * rate)));
    const auto borrow = [&] {
        return transforms.real<double>(size, dsp::FftDirections::forwardOnly);
    };
    const auto whole = borrow();
    const double binHz = rate / static_cast<double>(size);
    const double noiseBinHz = rate / static_cast<double>(deconvolved.noiseSize);
    std::ranges::fill(whole->time(), 0.0);
    std::ranges::copy(linearImpulse, whole->time().begin());
    const auto fundamental = powerOf(*whole);

    std::vector<HarmonicOrder> found(highestHarmonic - 1);
    dsp::runInParallel(found.size(), [&](std::size_t index) {
        HarmonicOrder& result = found[index];
        result.order = static_cast<int>(index) + 2;
        const double n = result.order;
        const double beforeSeconds =
            std::min(longestCutSeconds, shareBefore * growthSeconds * std::log((n + 1.0) / n));
        const double afterSeconds =
            std::min(longestCutSeconds, shareAfter * growthSeconds * std::log(n / (n - 1.0)));
        const auto numBefore = static_cast<std::ptrdiff_t>(beforeSeconds * rate);
        const auto numFrames = numBefore + static_cast<std::ptrdiff_t>(afterSeconds * rate);
        const std::ptrdiff_t begin =
            deconvolved.arrivalFrame
            - static_cast<std::ptrdiff_t>(std::lround(growthSeconds * std::log(n) * rate))
            - numBefore;
        const auto total = static_cast<std::ptrdiff_t>(deconvolved.samples.size());
        if (numFrames < 16 || numFrames > static_cast<std::ptrdiff_t>(size) || -begin > total / 2)
            return;
        const auto cut = borrow();
        const auto frames = cut->time().first(static_cast<std::size_t>(numFrames));
        std::ranges::fill(cut->time().subspan(frames.size()), 0.0);
        deconvolved.copyFrom(begin, frames);
        double windowEnergy = 0.0;
        for (std::ptrdiff_t frame = 0; frame < numFrames; ++frame) {
            const double window =
                dsp::raisedCosine((static_cast<double>(frame) + 0.5)
                                  / (0.7 * static_cast<double>(numBefore)))
                * dsp::raisedCosine((static_cast<double>(numFrames - frame) - 0.5)
                                    / (0.3 * static_cast<double>(numFrames - numBefore)));
            frames[static_cast<std::size_t>(frame)] *= window;
            windowEnergy += window * window;
        }
        const auto harmonic = powerOf(*cut);
        for (const dsp::Band& band : dsp::thirdOctaveBands()) {
            const double widthHz = n * (band.upperHz - band.lowerHz);
            if (band.centreHz < fromHz || n * band.upperHz > toHz
                || widthHz * (beforeSeconds + afterSeconds) < 1.0)
                continue;
            const double reference = meanOver(fundamental, binHz, band.lowerHz, band.upperHz);
            if (reference <= 0.0)
                continue;
            const double level = meanOver(harmonic, binHz, n * band.lowerHz, n * band.upperHz);
            const double floor =
                windowEnergy
                * meanOver(deconvolved.noisePerBin, noiseBinHz, n * band.lowerHz, n * band.upperHz);
            result.levels.push_back({band.centreHz, dsp::powerToDb(level / reference),
                                     dsp::powerToDb(floor / reference)});
        }
    });
    std::erase_if(found, [](const HarmonicOrder& order) { return order.levels.empty(); });
    return found;
}

std::vector<HarmonicOrder> medianDistortion(std::span<const std::vector<HarmonicOrder>> takes)
{
    if (takes.empty())
        return {};
    std::vector<HarmonicOrder> result = takes.front();
    for (std::size_t order = 0; order < result.size(); ++order)
        for (std::size_t index = 0; index < result[order].levels.size(); ++index) {
            // Takes of one track give the same orders and frequencies.
            std::vector<double> levels;
            std::vector<double> floors;
            for (const std::vector<HarmonicOrder>& take : takes) {
                levels.push_back(take[order].levels[index].levelDb);
                floors.push_back(take[order].levels[index].floorDb);
            }
            result[order].levels[index].levelDb = dsp::medianOf(std::move(levels));
            result[order].levels[index].floorDb = dsp::medianOf(std::move(floors));
        }
    return result;
}

} // namespace saddletone::measure
