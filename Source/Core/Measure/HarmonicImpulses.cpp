#include "Core/Measure/HarmonicImpulses.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/FractionalDelay.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

namespace saddletone::measure {

namespace {

constexpr double longestBeforeSeconds = 0.03;
constexpr double longestAfterSeconds = 0.25;
// As for distortion: of the distance to the next order on either side.
constexpr double shareBefore = 0.1;
constexpr double shareAfter = 0.8;
// Less tells nothing of a bass speaker.
constexpr double shortestBeforeSeconds = 0.005;
constexpr double shortestAfterSeconds = 0.06;
constexpr double fadeInShare = 0.7;
constexpr double fadeOutShare = 0.3;

} // namespace

std::optional<HarmonicImpulses> cutHarmonicImpulses(const DeconvolvedSweep& deconvolved,
                                                    const signals::SweepShape& sweep,
                                                    double referenceFrame)
{
    const double rate = deconvolved.sampleRate;
    const double growthSeconds = sweepGrowthSeconds(sweep, deconvolved.trackRate);
    const double beforeSeconds = std::min(
        longestBeforeSeconds, shareBefore * growthSeconds * std::log(1.0 + 1.0 / highestHarmonic));
    const auto afterSecondsOf = [&](int order) {
        return std::min(longestAfterSeconds,
                        shareAfter * growthSeconds * std::log(order / (order - 1.0)));
    };
    const auto total = static_cast<std::ptrdiff_t>(deconvolved.samples.size());
    if (beforeSeconds < shortestBeforeSeconds
        || afterSecondsOf(highestHarmonic) < shortestAfterSeconds
        || growthSeconds * std::log(highestHarmonic) * rate > 0.5 * static_cast<double>(total))
        return std::nullopt;

    HarmonicImpulses result;
    result.driveDbfs = dsp::amplitudeToDb(sweep.amplitude);
    result.arrivalFrame =
        static_cast<std::size_t>(std::ceil(longestBeforeSeconds * deconvolved.trackRate));
    const std::size_t numTrackFrames =
        result.arrivalFrame
        + static_cast<std::size_t>(std::ceil(longestAfterSeconds * deconvolved.trackRate));
    // Frames of the recorder that the track's frames before the arrival take, on the same clock.
    const double leadFrames =
        static_cast<double>(result.arrivalFrame) * rate / deconvolved.trackRate;
    constexpr std::size_t margin = dsp::fractionalDelayTaps;
    for (int order = 2; order <= highestHarmonic; ++order) {
        const double begin = referenceFrame - growthSeconds * std::log(order) * rate - leadFrames;
        const double wholeBegin = std::floor(begin);
        const auto numFrames = static_cast<std::size_t>(
            std::ceil((longestBeforeSeconds + longestAfterSeconds) * rate) + 2.0);
        std::vector<double> samples(numFrames + 2 * margin);
        // One frame is left out in front, so that what is missing is a delay.
        deconvolved.copyFrom(static_cast<std::ptrdiff_t>(wholeBegin)
                                 - static_cast<std::ptrdiff_t>(margin) + 1,
                             samples);
        dsp::delaySamplesInPlace(1.0 - (begin - wholeBegin), samples);
        std::vector<double> cut(samples.begin() + margin,
                                samples.begin() + static_cast<std::ptrdiff_t>(margin + numFrames));
        const double beforeFrames = beforeSeconds * rate;
        const double afterFrames = afterSecondsOf(order) * rate;
        for (std::size_t frame = 0; frame < cut.size(); ++frame) {
            const double fromArrival = static_cast<double>(frame) - leadFrames;
            cut[frame] *=
                dsp::raisedCosine((fromArrival + beforeFrames) / (fadeInShare * beforeFrames))
                * dsp::raisedCosine((afterFrames - fromArrival) / (fadeOutShare * afterFrames));
        }
        auto atTrackRate = files::resampleImpulse(cut, rate, deconvolved.trackRate);
        atTrackRate.resize(numTrackFrames, 0.0);
        result.orders.emplace_back(atTrackRate.begin(), atTrackRate.end());
    }
    return result;
}

HarmonicImpulses meanHarmonics(std::span<const HarmonicImpulses> takes,
                               std::span<const double> lagFrames)
{
    assert(!takes.empty() && takes.size() == lagFrames.size());
    HarmonicImpulses mean = takes.front();
    if (takes.size() == 1)
        return mean;
    const std::size_t length = mean.orders.front().size();
    dsp::RealFft<double> fft(dsp::fastFftSize(2 * length));
    std::vector<std::complex<double>> sum(fft.numBins());
    for (std::size_t order = 0; order < mean.orders.size(); ++order) {
        std::ranges::fill(sum, std::complex<double> {});
        for (std::size_t take = 0; take < takes.size(); ++take) {
            std::ranges::fill(fft.time(), 0.0);
            std::ranges::copy(takes[take].orders[order], fft.time().begin());
            fft.forward();
            const double radiansPerBin =
                2.0 * std::numbers::pi * lagFrames[take] / static_cast<double>(fft.size());
            for (std::size_t bin = 0; bin < sum.size(); ++bin)
                sum[bin] += fft.spectrum()[bin]
                            * std::polar(1.0 / static_cast<double>(takes.size()),
                                         radiansPerBin * static_cast<double>(bin));
        }
        std::ranges::copy(sum, fft.spectrum().begin());
        fft.inverse();
        for (std::size_t frame = 0; frame < length; ++frame)
            mean.orders[order][frame] = static_cast<float>(fft.time()[frame]);
    }
    return mean;
}

} // namespace saddletone::measure
