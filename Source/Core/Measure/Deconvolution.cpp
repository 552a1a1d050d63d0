#include "Core/Measure/Deconvolution.h"

#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/SignalSums.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"
#include "Core/Measure/HarmonicDistortion.h"
#include "Core/Measure/HarmonicImpulses.h"
#include "Core/Measure/RecordedSweep.h"
#include "Core/Measure/RecordingChecks.h"
#include "Core/Measure/TrustLimit.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>

namespace saddletone::measure {

namespace {

constexpr double secondsBeforeSweep = 0.3;
constexpr double ringOutSeconds = 1.5; // after the sweep; noise is looked for later
constexpr double tailFadeSeconds = 0.1;
constexpr double markerGuardSeconds = 0.05; // left out in front of the second marker
constexpr double largestClockRatio = 1.001; // what findMarkers() allows
constexpr std::size_t noiseSegmentFrames = 8192;
// Up to here every bin is weighted by itself, above in stretches; a stretch is a hundredth of an
// octave or less from here on.
constexpr double exactWeightsToHz = 1000.0;

/** Energy on one side of the response, re the response, from which a take is of another track. An
    engine running 20 dB below the sweep leaves an eighth, ranges that differ by two octaves more than
    a third. */
constexpr double smearedShare = 0.25;

std::size_t toFrames(double seconds, double sampleRate)
{
    return static_cast<std::size_t>(std::lround(seconds * sampleRate));
}

/** 1 where the sweep has its full level, raised-cosine edges over log frequency outside. */
double sweptBand(double fromHz, double toHz, double frequencyHz)
{
    if (frequencyHz <= fromHz || frequencyHz >= toHz)
        return 0.0;
    return dsp::raisedCosine(std::log2(frequencyHz / fromHz) / 0.5)
           * dsp::raisedCosine(std::log2(toHz / frequencyHz) / 0.05);
}

/** Half a Hann window of fade at either end of an impulse. */
double impulseWindow(std::size_t frame, std::size_t numFrames, double rate)
{
    return dsp::raisedCosine((static_cast<double>(frame) + 0.5)
                             / (ImpulseWindow::fadeInSeconds * rate))
           * dsp::raisedCosine((static_cast<double>(numFrames - frame) - 0.5)
                               / (ImpulseWindow::fadeOutSeconds * rate));
}

/** The part of a recording from begin on, as far as it was recorded. */
std::span<const float> partOf(std::span<const float> recording, std::ptrdiff_t begin,
                              std::ptrdiff_t end)
{
    const auto numFrames = static_cast<std::ptrdiff_t>(recording.size());
    const auto from = std::clamp<std::ptrdiff_t>(begin, 0, numFrames);
    const auto to = std::clamp<std::ptrdiff_t>(end, from, numFrames);
    return recording.subspan(static_cast<std::size_t>(from), static_cast<std::size_t>(to - from));
}

/** A value of a table over bins from 0 to half the sample rate, linear in between. */
double interpolated(std::span<const double> perBin, double frequencyHz, double rate)
{
    const double position =
        std::clamp(2.0 * frequencyHz / rate, 0.0, 1.0) * static_cast<double>(perBin.size() - 1);
    const auto whole = std::min(static_cast<std::size_t>(position), perBin.size() - 2);
    const double between = position - static_cast<double>(whole);
    return (1.0 - between) * perBin[whole] + between * perBin[whole + 1];
}

/** Up to where it is looked whether a take is of another track. Above, noise that comes with the
    playing (codecs, wind) may be stronger than the response. */
double highestMatchedHz(const signals::SweepShape& sweep)
{
    return std::max(6000.0, 4.0 * sweep.fromHz);
}

std::size_t transformSize(const signals::SweepLayout& layout, double framesPerTrackFrame,
                          double recorderRate)
{
    const auto frames = static_cast<double>(layout.secondMarkerFrame - layout.sweepFrame)
                        * framesPerTrackFrame * largestClockRatio;
    return dsp::largeFftSize(static_cast<std::size_t>(std::ceil(frames))
                             + toFrames(secondsBeforeSweep * largestClockRatio, recorderRate));
}

} // namespace

std::size_t impulseFftSize(double sampleRate)
{
    return dsp::fastFftSize(toFrames(ImpulseWindow::beforeSeconds, sampleRate)
                            + toFrames(ImpulseWindow::afterSeconds, sampleRate));
}

std::vector<dsp::Band> bandsBelowNyquist(double sampleRate)
{
    auto bands = dsp::thirdOctaveBands();
    std::erase_if(bands, [&](const dsp::Band& band) { return band.centreHz > 0.5 * sampleRate; });
    return bands;
}

Deconvolver::Deconvolver(const MeasurementRequest& measurement, double recorderRate,
                         double highestHarmonicHz, dsp::FftStore& store)
    : request(measurement),
      layout(*measurement.track.sweepLayout),
      nominalRate(recorderRate),
      mostHarmonicHz(highestHarmonicHz),
      transforms(store),
      recorded(transforms.real<float>(
          transformSize(layout, recorderRate / measurement.track.sampleRate, recorderRate))),
      played(transforms.real<float>(recorded->size())),
      numMatchedBins(std::min(recorded->numBins() - 1,
                              static_cast<std::size_t>(highestMatchedHz(layout.sweep) / recorderRate
                                                       * static_cast<double>(recorded->size())))),
      matched(transforms.real<float>(dsp::fastFftSize(2 * numMatchedBins + 2)))
{
    if (!request.noise)
        return;
    const auto noise = loudestChannel(request.noise->audio);
    const double ratio = nominalRate / request.noise->audio.sampleRate;
    if (ratio == 1.0) {
        placeNoise.assign(noise.begin(), noise.end());
    } else {
        const auto resampled =
            files::resample(std::vector<double>(noise.begin(), noise.end()), ratio);
        placeNoise.assign(resampled.begin(), resampled.end());
    }
}

Deconvolver::Placement Deconvolver::place(const MarkerPair& markers) const
{
    const auto trackFrames =
        static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame);
    // A spacing off by less than a ten-thousandth of a frame is no difference at all.
    const bool sameClock = std::abs(markers.spacingFrames - trackFrames) < 1e-4;
    Placement placement;
    placement.framesPerTrackFrame = sameClock ? 1.0 : markers.recorderFramesPerTrackFrame;
    placement.rate = request.track.sampleRate * placement.framesPerTrackFrame;
    const auto first = static_cast<double>(markers.firstFrame);
    placement.sweepFrame = first
                           + static_cast<double>(layout.sweepFrame - layout.firstMarkerFrame)
                                 * placement.framesPerTrackFrame;
    placement.begin = static_cast<std::ptrdiff_t>(placement.sweepFrame)
                      - static_cast<std::ptrdiff_t>(toFrames(secondsBeforeSweep, placement.rate));
    const auto end = static_cast<std::ptrdiff_t>(std::lround(
        first + trackFrames * placement.framesPerTrackFrame - markerGuardSeconds * placement.rate));
    placement.length = static_cast<std::size_t>(end - placement.begin);
    assert(placement.length <= recorded->size());
    return placement;
}

/** What divides by the sweep. */
void Deconvolver::transformPlayed()
{
    played->forward();
    float mostPower = 0.0F;
    for (const std::complex<float>& bin : played->spectrum())
        mostPower = std::max(mostPower, std::norm(bin));
    // Far below the least power inside the band; it only keeps what lies outside finite.
    regularisation = 1e-9 * static_cast<double>(mostPower);
}

void Deconvolver::transformRecorded(std::span<const float> recording, const Placement& placement)
{
    const auto time = recorded->time();
    const auto end = placement.begin + static_cast<std::ptrdiff_t>(placement.length);
    const auto part = partOf(recording, placement.begin, end);
    const auto from =
        std::fill_n(time.begin(), std::max<std::ptrdiff_t>(0, -placement.begin), 0.0F);
    std::fill(std::ranges::copy(part, from).out, time.end(), 0.0F);
    // The last moments fade, so that a tail still sounding is not cut off with a click.
    const std::size_t tailFade = toFrames(tailFadeSeconds, placement.rate);
    for (std::size_t frame = 0; frame < tailFade; ++frame)
        time[placement.length - 1 - frame] *= static_cast<float>(
            dsp::raisedCosine(static_cast<double>(frame) / static_cast<double>(tailFade)));
    recorded->forward();
}

/** What a bin of the quotient is weighted with: the swept band, and the microphone taken out. */
double Deconvolver::gainAt(double frequencyHz, double rate) const
{
    const double toHz = std::min(layout.sweep.toHz * 1.01, highestRecordedShare * rate);
    const double gain = sweptBand(0.8 * layout.sweep.fromHz, toHz, frequencyHz);
    if (!request.microphone || gain <= 0.0)
        return gain;
    return gain * dsp::dbToAmplitude(-request.microphone->levelDbAt(frequencyHz));
}

/** Two-sided power density of the noise per sample (its mean over frequency is the mean square),
    from 0 Hz to half the recorder's rate. */
std::vector<double> Deconvolver::noiseDensity(std::span<const float> recording,
                                              const Placement& placement, double& seconds) const
{
    std::span<const float> noise = placeNoise;
    if (noise.empty()) {
        const auto pauseEnd = placement.begin + static_cast<std::ptrdiff_t>(placement.length);
        const auto quietBegin = static_cast<std::ptrdiff_t>(std::lround(
            placement.sweepFrame
            + static_cast<double>(layout.sweep.numFrames) * placement.framesPerTrackFrame
            + ringOutSeconds * placement.rate));
        noise = partOf(recording, std::min(quietBegin, pauseEnd - 1), pauseEnd);
    }
    seconds = static_cast<double>(noise.size()) / placement.rate;
    auto density = dsp::welchPowerPerBin(noise, noiseSegmentFrames);
    for (double& value : density)
        value *= static_cast<double>(density.size() - 1);
    return density;
}

/** Divides the recording's spectrum by the sweep's. Gives the energy of the noise in matched. */
double Deconvolver::divide(std::span<const double> density, double rate)
{
    const auto quotient = recorded->spectrum();
    const auto divisor = played->spectrum();
    const double binHz = rate / static_cast<double>(recorded->size());
    const auto smallest = static_cast<float>(regularisation);
    const std::size_t numStretches = density.size() - 1;
    std::vector<double> noise(numStretches, 0.0);

    /** Bins from begin to end with a gain that changes evenly; the sum of gain^2 / |divisor|^2. */
    const auto divideStretch = [&](std::size_t begin, std::size_t end, double fromGain,
                                   double toGain) {
        if (fromGain <= 0.0 && toGain <= 0.0) {
            std::fill(quotient.begin() + static_cast<std::ptrdiff_t>(begin),
                      quotient.begin() + static_cast<std::ptrdiff_t>(end), std::complex<float> {});
            return 0.0;
        }
        const auto slope =
            static_cast<float>((toGain - fromGain) / static_cast<double>(end - begin));
        const auto start = static_cast<float>(fromGain);
        float sum = 0.0F;
        for (std::size_t bin = begin; bin < end; ++bin) {
            const float above = quotient[bin].real();
            const float aboveImag = quotient[bin].imag();
            const float below = divisor[bin].real();
            const float belowImag = divisor[bin].imag();
            const float gain = start + slope * static_cast<float>(static_cast<int>(bin - begin));
            const float scale = gain / (below * below + belowImag * belowImag + smallest);
            quotient[bin] = {(above * below + aboveImag * belowImag) * scale,
                             (aboveImag * below - above * belowImag) * scale};
            sum += gain * scale;
        }
        return static_cast<double>(sum);
    };
    // Every octave with the same weight.
    const auto toMatch = matched->spectrum();
    std::fill(toMatch.begin() + static_cast<std::ptrdiff_t>(numMatchedBins), toMatch.end(),
              std::complex<float> {});
    constexpr std::size_t stretchesAtOnce = 256;
    dsp::runInParallel(
        (numStretches + stretchesAtOnce - 1) / stretchesAtOnce, [&](std::size_t task) {
            const std::size_t last = std::min((task + 1) * stretchesAtOnce, numStretches);
            for (std::size_t stretch = task * stretchesAtOnce; stretch < last; ++stretch) {
                const std::size_t begin = stretch * (quotient.size() - 1) / numStretches;
                const std::size_t end = stretch + 1 == numStretches
                                            ? quotient.size()
                                            : (stretch + 1) * (quotient.size() - 1) / numStretches;
                if (static_cast<double>(begin) * binHz < exactWeightsToHz)
                    for (std::size_t bin = begin; bin < end; ++bin) {
                        const double gain = gainAt(static_cast<double>(bin) * binHz, rate);
                        noise[stretch] += divideStretch(bin, bin + 1, gain, gain);
                    }
                else
                    noise[stretch] =
                        divideStretch(begin, end, gainAt(static_cast<double>(begin) * binHz, rate),
                                      gainAt(static_cast<double>(end) * binHz, rate));
                const auto middle = 0.5 * static_cast<double>(begin + end);
                noise[stretch] *= middle < static_cast<double>(numMatchedBins)
                                      ? (density[stretch] + density[stretch + 1]) / middle
                                      : 0.0;
                for (std::size_t bin = begin; bin < std::min(end, numMatchedBins); ++bin)
                    toMatch[bin] = quotient[bin]
                                   * (1.0F / std::sqrt(static_cast<float>(static_cast<int>(bin))));
                // Where nothing was swept.
                if (begin == 0)
                    toMatch[0] = {};
            }
        });
    double energy = 0.0;
    for (const double ofStretch : noise)
        energy += ofStretch;
    return energy * static_cast<double>(recorded->size()) / static_cast<double>(matched->size());
}

/** Whether the energy does not stand in one place. The response of the right track does; divided by
    another sweep it is smeared ahead of it or behind. Octaves count alike. Distortion stands ahead as
    well, but with much less energy; what the noise explains is not held against the track. */
bool Deconvolver::isSmeared(std::ptrdiff_t arrival, double noiseEnergy, double rate)
{
    const double ratio =
        static_cast<double>(matched->size()) / static_cast<double>(recorded->size());
    const auto toPlace = [&](double seconds) {
        return static_cast<std::size_t>(
                   std::lround((static_cast<double>(arrival) + seconds * rate) * ratio
                               + static_cast<double>(matched->size())))
               % matched->size();
    };
    const std::span<const float> samples = matched->time();
    const std::size_t half = samples.size() / 2;
    const std::size_t behind = toPlace(ImpulseWindow::afterSeconds);
    const std::size_t ahead = toPlace(-ImpulseWindow::beforeSeconds);
    const double laterEnergy = dsp::energyOf(samples.subspan(behind, half - behind));
    const double earlierEnergy = dsp::energyOf(samples.subspan(half, ahead - half));
    const double insideEnergy = dsp::energyOf(samples) - laterEnergy - earlierEnergy;
    return std::max(laterEnergy, earlierEnergy) > smearedShare * insideEnergy + 1.5 * noiseEnergy;
}

/** Mean |noise|^2 that a window of unit energy passes on, per bin of impulseFftSize(). */
std::vector<double> Deconvolver::unitNoise(std::span<const double> density, double rate)
{
    const std::size_t size = impulseFftSize(rate);
    const auto divisor = played->spectrum();
    std::vector<double> noise(size / 2 + 1);
    for (std::size_t bin = 0; bin < noise.size(); ++bin) {
        const auto share = static_cast<double>(bin) / static_cast<double>(size);
        const double gain = gainAt(share * rate, rate);
        const auto from = std::min(
            static_cast<std::size_t>(std::lround(share * static_cast<double>(played->size()))),
            divisor.size() - 1);
        noise[bin] = interpolated(density, share * rate, rate) * gain * gain
                     / (static_cast<double>(std::norm(divisor[from])) + regularisation);
    }
    return noise;
}

/** Raises the noise of bands in which more error stands beside the response than the pause explains;
    gives these bands. */
std::vector<bool> Deconvolver::findPlayingError(const DeconvolvedSweep& deconvolved,
                                                std::vector<double>& noise) const
{
    const double binHz = deconvolved.sampleRate / static_cast<double>(deconvolved.noiseSize);
    const double pauseSeconds =
        static_cast<double>(layout.secondMarkerFrame - layout.sweepFrame - layout.sweep.numFrames)
        / request.track.sampleRate;
    const auto bands = bandsBelowNyquist(request.track.sampleRate);
    const auto error =
        playingError(deconvolved, layout.sweep,
                     {.windowBeforeSeconds = ImpulseWindow::beforeSeconds,
                      .windowAfterSeconds = ImpulseWindow::afterSeconds,
                      .lastSeconds = pauseSeconds - markerGuardSeconds - tailFadeSeconds},
                     bands, transforms);
    const auto explained = dsp::bandPowers(noise, binHz, bands);
    std::vector<bool> isWorse(bands.size(), false);
    for (std::size_t index = 0; index < bands.size(); ++index) {
        const double widthHz = bands[index].upperHz - bands[index].lowerHz;
        const double expected = explained[index] / (widthHz / binHz);
        // Three standard deviations of a noise power from the independent values in the band; a
        // Hann window of 0.6 s holds about 0.3 s worth of them.
        const double independent = std::max(1.0, 0.3 * widthHz);
        if (error[index] <= expected * (1.0 + 3.0 / std::sqrt(independent)))
            continue;
        isWorse[index] = true;
        const auto first = static_cast<std::size_t>(std::ceil(bands[index].lowerHz / binHz));
        for (std::size_t bin = first;
             bin < noise.size() && static_cast<double>(bin) * binHz < bands[index].upperHz; ++bin)
            noise[bin] = std::max(noise[bin], error[index]);
    }
    return isWorse;
}

dsp::Result<DeconvolvedTake> Deconvolver::run(std::span<const float> recording,
                                              const MarkerPair& markers, const std::string& source)
{
    const Placement placement = place(markers);
    const double rate = placement.rate;
    DeconvolvedTake take;
    std::vector<double> density;
    // The sweep as the recorder's clock takes it.
    writeRecordedSweep(layout.sweep,
                       {.trackRate = request.track.sampleRate,
                        .framesPerTrackFrame = placement.framesPerTrackFrame,
                        .startFrame = placement.sweepFrame - static_cast<double>(placement.begin)},
                       played->time());
    dsp::runInParallel(3, [&](std::size_t task) {
        if (task == 0)
            transformPlayed();
        else if (task == 1)
            transformRecorded(recording, placement);
        else
            density = noiseDensity(recording, placement, take.noiseSeconds);
    });
    const double noiseEnergy = divide(density, rate);
    std::vector<double> noise;
    dsp::runInParallel(3, [&](std::size_t task) {
        if (task == 0)
            recorded->inverse();
        else if (task == 1)
            matched->inverse();
        else
            noise = unitNoise(density, rate);
    });

    const std::span<const float> whole = recorded->time();
    const auto at = [&](std::ptrdiff_t frame) {
        const auto wrapped = frame < 0 ? frame + static_cast<std::ptrdiff_t>(whole.size()) : frame;
        return static_cast<double>(whole[static_cast<std::size_t>(wrapped)]);
    };
    const auto reach = static_cast<std::ptrdiff_t>(toFrames(0.05, rate));
    std::ptrdiff_t arrival = 0;
    for (std::ptrdiff_t frame = -reach; frame <= reach; ++frame)
        if (std::abs(at(frame)) > std::abs(at(arrival)))
            arrival = frame;

    const std::size_t numBefore = toFrames(ImpulseWindow::beforeSeconds, rate);
    const std::size_t numAfter = toFrames(ImpulseWindow::afterSeconds, rate);
    std::vector<double> impulse(numBefore + numAfter);
    double windowEnergy = 0.0;
    for (std::size_t frame = 0; frame < impulse.size(); ++frame) {
        const double window = impulseWindow(frame, impulse.size(), rate);
        impulse[frame] = window
                         * at(arrival + static_cast<std::ptrdiff_t>(frame)
                              - static_cast<std::ptrdiff_t>(numBefore));
        windowEnergy += window * window;
    }

    if (isSmeared(arrival, noiseEnergy, rate))
        return dsp::fail(
            dsp::ErrorCode::notTrustworthy,
            "recording '" + source
                + "': wrong track: the sweep in it is not the one described (range or length "
                  "differ); give the description of the track that was played");

    const double trackRate = request.track.sampleRate;
    const std::size_t trackBefore = toFrames(ImpulseWindow::beforeSeconds, trackRate);
    // Frame trackBefore of the result is what counts as the arrival, half a frame off at most.
    const double arrivalFrame = static_cast<double>(arrival) - static_cast<double>(numBefore)
                                + static_cast<double>(trackBefore) * placement.framesPerTrackFrame;
    take.arrivalSeconds = (placement.sweepFrame + arrivalFrame) / rate;
    const DeconvolvedSweep deconvolved {recorded->time(),       arrival, noise,
                                        2 * (noise.size() - 1), rate,    trackRate};
    dsp::runInParallel(3, [&](std::size_t task) {
        if (task == 0) {
            // Without the noise, which the next one changes.
            take.harmonics = cutHarmonicImpulses(deconvolved, layout.sweep, arrivalFrame);
        } else if (task == 1) {
            take.worseWhilePlaying = findPlayingError(deconvolved, noise);
        } else {
            take.impulse = files::resampleImpulse(impulse, rate, trackRate);
            take.impulse.resize(trackBefore + toFrames(ImpulseWindow::afterSeconds, trackRate),
                                0.0);
        }
    });
    // Counts above the noise as it is now.
    take.distortion =
        harmonicDistortion(deconvolved, impulse, layout.sweep, layout.sweep.fromHz * sweptFromRatio,
                           mostHarmonicHz, transforms);

    const std::size_t size = impulseFftSize(trackRate);
    take.noisePerBin.resize(size / 2 + 1, 0.0);
    for (std::size_t bin = 0; bin < take.noisePerBin.size(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * trackRate / static_cast<double>(size);
        const auto from = static_cast<std::size_t>(
            std::lround(frequencyHz / rate * static_cast<double>(2 * (noise.size() - 1))));
        if (from < noise.size())
            take.noisePerBin[bin] = noise[from] * windowEnergy;
    }
    return take;
}

} // namespace saddletone::measure
