#include "Core/Measure/Measurement.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"
#include "Core/Measure/DirectSound.h"
#include "Core/Measure/HarmonicDistortion.h"
#include "Core/Measure/MarkerSearch.h"
#include "Core/Measure/RecordingChecks.h"
#include "Core/Measure/Takes.h"
#include "Core/Measure/TrustLimit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

namespace saddletone::measure {

namespace {

using files::fixedText;

constexpr double secondsBeforeArrival = 0.35;
constexpr double secondsAfterArrival = 0.6;
constexpr double fadeInSeconds = 0.2;
constexpr double fadeOutSeconds = 0.15;
constexpr double leadSeconds = 0.5;    // kept of the recording in front of the first marker
constexpr double ringOutSeconds = 1.5; // after the sweep; noise is looked for later
constexpr double highestLevelChangeDb = 1.5;
constexpr double leastUsableSnrDb = 10.0;
constexpr double tailFadeSeconds = 0.1;
constexpr double markerGuardSeconds = 0.05; // left out in front of the second marker
constexpr double sweptFromRatio = 1.119;    // the fade takes the sweep's first sixth of an octave
constexpr double mostUncertainDb = 400.0;   // nothing at all is known
constexpr double methodErrorDb = 0.01;      // of the band levels of a take without noise

/** One take, brought to the track's clock. */
struct AlignedTake {
    std::string source;
    std::vector<double> samples;
    std::size_t trackStart = 0; ///< Frame in samples where the track's frame leadFrames stands.
    double startSeconds = 0.0;  ///< Of samples in the recording, on the track's clock.
    MarkerPair markers;
};

/** A deconvolved take before averaging. */
struct Deconvolved {
    std::vector<double> impulse;
    std::vector<double> noisePerBin; ///< Expected |noise|^2 of the impulse's spectrum, per bin.
    double noiseSeconds = 0.0;       ///< What the noise was estimated from.
    /** Per band: the error while the track plays stands above the noise of the pause. */
    std::vector<bool> worseWhilePlaying;
    std::vector<HarmonicOrder> distortion;
    double arrivalSeconds = 0.0; ///< In the recording, on the track's clock.
};

/** The third octaves that a sample rate holds. */
std::vector<dsp::Band> bandsBelowNyquist(double sampleRate)
{
    auto bands = dsp::thirdOctaveBands();
    std::erase_if(bands, [&](const dsp::Band& band) { return band.centreHz > 0.5 * sampleRate; });
    return bands;
}

dsp::Unexpected refuse(const std::string& source, const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy, "recording '" + source + "': " + reason);
}

std::size_t toFrames(double seconds, double sampleRate)
{
    return static_cast<std::size_t>(std::lround(seconds * sampleRate));
}

double raisedCosine(double position)
{
    return 0.5 - 0.5 * std::cos(std::numbers::pi * std::clamp(position, 0.0, 1.0));
}

/** Cuts one repeat of the track out of a recording and resamples it to the track's clock. In the
    result the first marker starts at frame leadSeconds. */
AlignedTake alignTake(std::span<const double> samples, double recorderRate,
                      const MarkerPair& markers, const signals::SignalDescription& track)
{
    // The piece of the recording around the track, with silence where it was not recorded.
    const signals::SweepLayout& layout = *track.sweepLayout;
    const double ratio = markers.recorderFramesPerTrackFrame;
    const auto lead = static_cast<std::ptrdiff_t>(toFrames(leadSeconds, recorderRate));
    const auto length = static_cast<std::size_t>(
        std::ceil(static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame) * ratio
                  + (leadSeconds + layout.marker.durationSeconds + 0.5) * recorderRate));
    std::vector<double> piece(length, 0.0);
    for (std::size_t frame = 0; frame < length; ++frame) {
        const auto position = static_cast<std::ptrdiff_t>(markers.firstFrame + frame) - lead;
        if (position >= 0 && static_cast<std::size_t>(position) < samples.size())
            piece[frame] = samples[static_cast<std::size_t>(position)];
    }

    AlignedTake take;
    take.markers = markers;
    take.startSeconds = (static_cast<double>(markers.firstFrame) - static_cast<double>(lead))
                        / ratio / track.sampleRate;
    // A spacing off by less than a ten-thousandth of a frame is no difference at all.
    const bool sameClock =
        std::abs(markers.spacingFrames
                 - static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame))
        < 1e-4;
    take.samples = sameClock ? std::move(piece) : files::resample(piece, 1.0 / ratio);
    take.trackStart = static_cast<std::size_t>(std::lround(static_cast<double>(lead) / ratio));
    return take;
}

/** Finds every repeat of the track in a recording. Of several repeats, those whose level changes
    from marker to marker are left out and counted in numLeftOut. */
dsp::Result<std::vector<AlignedTake>> alignTakes(const Recording& recording,
                                                 const signals::SignalDescription& track,
                                                 std::size_t& numLeftOut)
{
    const double recorderRate = recording.audio.sampleRate;
    const std::vector<double> samples = loudestChannel(recording.audio);
    if (const auto check = checkNotSilent(samples, recording.name); !check)
        return check.unexpected();
    if (const auto check = checkNotClipped(samples, recorderRate, recording.name); !check)
        return check.unexpected();
    const auto pairs = findAllMarkers(samples, recorderRate, track, recording.name);
    if (!pairs)
        return pairs.unexpected();
    std::vector<AlignedTake> takes;
    for (std::size_t index = 0; index < pairs->size(); ++index) {
        const MarkerPair& markers = (*pairs)[index];
        if (std::abs(markers.levelChangeDb) > highestLevelChangeDb) {
            ++numLeftOut;
            continue;
        }
        takes.push_back(alignTake(samples, recorderRate, markers, track));
        takes.back().source = pairs->size() == 1
                                  ? recording.name
                                  : recording.name + ", repeat " + std::to_string(index + 1);
    }
    if (takes.empty())
        return refuse(
            recording.name,
            "its level changes by " + fixedText(pairs->front().levelChangeDb, 1)
                + " dB from the first to the second marker; switch off automatic gain and "
                  "limiters in recorder and radio, and leave the volume alone");
    return takes;
}

/** 1 where the sweep has its full level, raised-cosine edges over log frequency outside. */
double sweptBand(const signals::SweepShape& sweep, double frequencyHz)
{
    if (frequencyHz <= 0.0)
        return 0.0;
    const double octavesAboveLow = std::log2(frequencyHz / (sweep.fromHz * 0.8));
    const double octavesBelowTop = std::log2(sweep.toHz * 1.01 / frequencyHz);
    return raisedCosine(octavesAboveLow / 0.5) * raisedCosine(octavesBelowTop / 0.05);
}

/** Two-sided power density of noise per sample (its mean over frequency is the mean square), on
    the bins of a transform of the given size. */
std::vector<double> noiseDensity(std::span<const double> noise, std::size_t size)
{
    std::vector<float> samples(noise.begin(), noise.end());
    constexpr std::size_t segment = 8192;
    const auto power = dsp::welchPowerPerBin(samples, segment);
    std::vector<double> density(size / 2 + 1);
    for (std::size_t bin = 0; bin < density.size(); ++bin) {
        const double position = static_cast<double>(bin) / static_cast<double>(size / 2)
                                * static_cast<double>(power.size() - 1);
        const auto whole = std::min(static_cast<std::size_t>(position), power.size() - 2);
        const double between = position - static_cast<double>(whole);
        const double oneSided = (1.0 - between) * power[whole] + between * power[whole + 1];
        density[bin] = 0.5 * oneSided * static_cast<double>(2 * (power.size() - 1));
    }
    return density;
}

class Deconvolver {
public:
    Deconvolver(const MeasurementRequest& measurement, double sampleRate)
        : request(measurement),
          layout(*measurement.track.sweepLayout),
          rate(sampleRate),
          before(toFrames(0.3, sampleRate))
    {
        if (request.noise)
            placeNoise = files::resample(loudestChannel(request.noise->audio),
                                         rate / request.noise->audio.sampleRate);
        // From some silence before the sweep to the end of the pause behind it.
        length = before + layout.secondMarkerFrame - layout.sweepFrame
                 - toFrames(markerGuardSeconds, rate);
        const auto sweep = signals::makeSweep(layout.sweep, rate);
        fft = dsp::RealFft<double>(dsp::fastFftSize(length + sweep.size()));
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(sweep, fft.time().begin() + static_cast<std::ptrdiff_t>(before));
        fft.forward();
        played.assign(fft.spectrum().begin(), fft.spectrum().end());
        double mostPower = 0.0;
        for (const auto& bin : played)
            mostPower = std::max(mostPower, std::norm(bin));
        // Far below the least power inside the band; it only keeps what lies outside finite.
        regularisation = 1e-9 * mostPower;
    }

    [[nodiscard]] dsp::Result<Deconvolved> run(const AlignedTake& take)
    {
        const std::size_t size = fft.size();
        const std::size_t sweepStart =
            take.trackStart + layout.sweepFrame - layout.firstMarkerFrame;
        const std::size_t pauseEnd = sweepStart - before + length;

        std::ranges::fill(fft.time(), 0.0);
        std::copy_n(take.samples.begin() + static_cast<std::ptrdiff_t>(sweepStart - before), length,
                    fft.time().begin());
        // The last moments fade, so that a tail still sounding is not cut off with a click.
        const std::size_t tailFade = toFrames(tailFadeSeconds, rate);
        for (std::size_t frame = 0; frame < tailFade; ++frame)
            fft.time()[length - 1 - frame] *=
                raisedCosine(static_cast<double>(frame) / static_cast<double>(tailFade));
        fft.forward();

        const double binHz = rate / static_cast<double>(size);
        std::vector<double> weight(played.size());
        for (std::size_t bin = 0; bin < played.size(); ++bin) {
            const double frequencyHz = static_cast<double>(bin) * binHz;
            double gain = sweptBand(layout.sweep, frequencyHz);
            if (request.microphone && gain > 0.0)
                gain *= dsp::dbToAmplitude(-request.microphone->levelDbAt(frequencyHz));
            weight[bin] = gain;
            fft.spectrum()[bin] *=
                gain * std::conj(played[bin]) / (std::norm(played[bin]) + regularisation);
        }
        fft.inverse();

        const auto whole = fft.time();
        const auto at = [&](std::ptrdiff_t frame) {
            const auto wrapped = frame < 0 ? frame + static_cast<std::ptrdiff_t>(size) : frame;
            return whole[static_cast<std::size_t>(wrapped)];
        };
        const auto reach = static_cast<std::ptrdiff_t>(toFrames(0.05, rate));
        std::ptrdiff_t arrival = 0;
        for (std::ptrdiff_t frame = -reach; frame <= reach; ++frame)
            if (std::abs(at(frame)) > std::abs(at(arrival)))
                arrival = frame;

        const std::size_t numBefore = toFrames(secondsBeforeArrival, rate);
        const std::size_t numFrames = numBefore + toFrames(secondsAfterArrival, rate);
        const double fadeIn = fadeInSeconds * rate;
        const double fadeOut = fadeOutSeconds * rate;
        Deconvolved result;
        result.impulse.resize(numFrames);
        double windowEnergy = 0.0;
        double insideEnergy = 0.0;
        for (std::size_t frame = 0; frame < numFrames; ++frame) {
            const double window =
                raisedCosine((static_cast<double>(frame) + 0.5) / fadeIn)
                * raisedCosine((static_cast<double>(numFrames - frame) - 0.5) / fadeOut);
            const double value = at(arrival + static_cast<std::ptrdiff_t>(frame)
                                    - static_cast<std::ptrdiff_t>(numBefore));
            result.impulse[frame] = value * window;
            windowEnergy += window * window;
            insideEnergy += value * value;
        }

        result.arrivalSeconds =
            take.startSeconds
            + (static_cast<double>(sweepStart) + static_cast<double>(arrival)) / rate;

        const auto noise = noiseOf(take, pauseEnd);
        result.noiseSeconds = static_cast<double>(noise.size()) / rate;
        const auto density = noiseDensity(noise, size);
        const std::size_t impulseSize = impulseFftSize();
        result.noisePerBin.resize(impulseSize / 2 + 1);
        double noiseEnergy = 0.0; // of the whole deconvolved signal
        for (std::size_t bin = 0; bin < played.size(); ++bin)
            noiseEnergy += 2.0 * density[bin] * weight[bin] * weight[bin]
                           / (std::norm(played[bin]) + regularisation);
        for (std::size_t bin = 0; bin < result.noisePerBin.size(); ++bin) {
            const auto from = static_cast<std::size_t>(
                std::lround(static_cast<double>(bin) / static_cast<double>(impulseSize)
                            * static_cast<double>(size)));
            result.noisePerBin[bin] = density[from] * windowEnergy * weight[from] * weight[from]
                                      / (std::norm(played[from]) + regularisation);
        }

        // The response of the right track stands in one place; deconvolved with another sweep the
        // energy is smeared over the whole length. Harmonics lie ahead of it, so only what comes
        // after counts; what the noise explains is not held against the track.
        double laterEnergy = 0.0;
        std::size_t numLater = 0;
        for (std::ptrdiff_t frame = arrival + static_cast<std::ptrdiff_t>(numFrames - numBefore);
             frame < static_cast<std::ptrdiff_t>(size / 2); ++frame, ++numLater)
            laterEnergy += at(frame) * at(frame);
        const double expectedNoise =
            noiseEnergy * static_cast<double>(numLater) / static_cast<double>(size);
        if (laterEnergy > 0.5 * insideEnergy + 3.0 * expectedNoise)
            return refuse(
                take.source,
                "wrong track: the sweep in it is not the one described (range or length differ); "
                "give the description of the track that was played");
        findPlayingError(result, whole, arrival, windowEnergy);
        return result;
    }

    [[nodiscard]] std::size_t impulseFftSize() const
    {
        return dsp::fastFftSize(toFrames(secondsBeforeArrival, rate)
                                + toFrames(secondsAfterArrival, rate));
    }

private:
    /** Raises the noise of bands in which more error stands beside the response than the pause
        explains, and measures the distortion above that noise. */
    void findPlayingError(Deconvolved& result, std::span<const double> whole,
                          std::ptrdiff_t arrival, double windowEnergy) const
    {
        const std::size_t impulseSize = impulseFftSize();
        const double binHz = rate / static_cast<double>(impulseSize);
        std::vector<double> unitNoise = result.noisePerBin;
        for (double& value : unitNoise)
            value /= windowEnergy;
        const DeconvolvedSweep deconvolved {whole, arrival, unitNoise, impulseSize, rate};

        const double pauseSeconds = static_cast<double>(layout.secondMarkerFrame - layout.sweepFrame
                                                        - layout.sweep.numFrames)
                                    / rate;
        const auto bands = bandsBelowNyquist(rate);
        const auto error =
            playingError(deconvolved, layout.sweep,
                         {.windowBeforeSeconds = secondsBeforeArrival,
                          .windowAfterSeconds = secondsAfterArrival,
                          .lastSeconds = pauseSeconds - markerGuardSeconds - tailFadeSeconds},
                         bands);
        const auto explained = dsp::bandPowers(unitNoise, binHz, bands);
        result.worseWhilePlaying.assign(bands.size(), false);
        for (std::size_t index = 0; index < bands.size(); ++index) {
            const double widthHz = bands[index].upperHz - bands[index].lowerHz;
            const double expected = explained[index] / (widthHz / binHz);
            // Three standard deviations of a noise power from the independent values in the band;
            // a Hann window of 0.6 s holds about 0.3 s worth of them.
            const double independent = std::max(1.0, 0.3 * widthHz);
            if (error[index] <= expected * (1.0 + 3.0 / std::sqrt(independent)))
                continue;
            result.worseWhilePlaying[index] = true;
            const auto first = static_cast<std::size_t>(std::ceil(bands[index].lowerHz / binHz));
            for (std::size_t bin = first;
                 bin < unitNoise.size() && static_cast<double>(bin) * binHz < bands[index].upperHz;
                 ++bin)
                unitNoise[bin] = std::max(unitNoise[bin], error[index]);
        }
        for (std::size_t bin = 0; bin < unitNoise.size(); ++bin)
            result.noisePerBin[bin] = unitNoise[bin] * windowEnergy;
        result.distortion =
            harmonicDistortion(deconvolved, result.impulse, layout.sweep,
                               layout.sweep.fromHz * sweptFromRatio, layout.sweep.toHz / 1.02);
    }

    /** Samples of the place without the signal, at the track's rate. */
    [[nodiscard]] std::vector<double> noiseOf(const AlignedTake& take, std::size_t pauseEnd) const
    {
        if (!placeNoise.empty())
            return placeNoise;
        const std::size_t sweepEnd =
            take.trackStart + layout.sweepFrame - layout.firstMarkerFrame + layout.sweep.numFrames;
        const std::size_t quietBegin =
            std::min(sweepEnd + toFrames(ringOutSeconds, rate), pauseEnd - 1);
        return {take.samples.begin() + static_cast<std::ptrdiff_t>(quietBegin),
                take.samples.begin() + static_cast<std::ptrdiff_t>(pauseEnd)};
    }

    const MeasurementRequest& request;
    const signals::SweepLayout& layout;
    double rate;
    std::size_t before;     // frames taken in front of the sweep
    std::size_t length = 0; // of what is deconvolved
    dsp::RealFft<double> fft {2};
    std::vector<std::complex<double>> played;
    std::vector<double> placeNoise; // at the track's rate; empty: the pauses are used
    double regularisation = 0.0;
};

/** Noise of one take in each band: the median over takes, so that a disturbance in one is not held
    against all. */
std::vector<BandNoise> noiseOfTakes(const std::vector<Deconvolved>& takes, double binHz,
                                    std::span<const dsp::Band> bands, double fromHz, double toHz)
{
    std::vector<double> noise(takes.front().noisePerBin.size());
    std::vector<double> ofTakes(takes.size());
    for (std::size_t bin = 0; bin < noise.size(); ++bin) {
        for (std::size_t take = 0; take < takes.size(); ++take)
            ofTakes[take] = takes[take].noisePerBin[bin];
        std::ranges::sort(ofTakes);
        noise[bin] = 0.5 * (ofTakes[(takes.size() - 1) / 2] + ofTakes[takes.size() / 2]);
    }
    const auto powers = dsp::bandPowers(noise, binHz, bands);
    std::vector<BandNoise> result;
    for (std::size_t index = 0; index < bands.size(); ++index) {
        const dsp::Band& band = bands[index];
        result.push_back({band, powers[index] / ((band.upperHz - band.lowerHz) / binHz),
                          band.lowerHz >= fromHz && band.upperHz <= toHz * 1.02});
    }
    return result;
}

/** Bands of the averaged response with their confidence; trust follows later. noiseSeconds: of all
    takes together. */
std::vector<BandConfidence> bandConfidence(const CombinedTakes& combined,
                                           std::span<const BandNoise> noise, double noiseSeconds,
                                           std::size_t size, double sampleRate)
{
    dsp::RealFft<double> fft(size);
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(combined.impulse, fft.time().begin());
    fft.forward();
    std::vector<double> power(fft.numBins());
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = std::norm(fft.spectrum()[bin]);
    const double binHz = sampleRate / static_cast<double>(size);
    const double windowSeconds =
        secondsAfterArrival + secondsBeforeArrival - fadeInSeconds - 0.5 * fadeOutSeconds;

    std::vector<BandConfidence> result;
    for (std::size_t index = 0; index < noise.size(); ++index) {
        const dsp::Band& band = noise[index].band;
        const std::array<dsp::Band, 1> only {band};
        const double widthHz = band.upperHz - band.lowerHz;
        const double bandPower = dsp::bandPowers(power, binHz, only).front() / (widthHz / binHz);
        const double bandNoise = noise[index].perBin;
        const auto numKept = static_cast<double>(combined.numKept[index]);
        const double noiseLeft = combined.inPhase[index] ? bandNoise / numKept : bandNoise;
        const double signal = std::max(bandPower - noiseLeft, 1e-6 * bandPower);
        const double snr = bandNoise > 0.0 ? signal / bandNoise : 1e12;
        // The cross term of response and noise dominates: relative variance 2 / (SNR n) over n
        // independent values in the band.
        const double independent = std::max(1.0, widthHz * windowSeconds) * numKept;
        const double fromNoiseDb = 10.0 / std::numbers::ln10 * std::sqrt(2.0 / (snr * independent));
        const double fromSpreadDb = combined.spreadDb[index] / std::sqrt(numKept);
        BandConfidence confidence;
        confidence.frequencyHz = band.centreHz;
        // What the noise adds to the power is known on average, so it is taken off.
        confidence.levelDb = dsp::powerToDb(signal);
        confidence.snrDb = dsp::powerToDb(snr);
        confidence.spreadDb = combined.spreadDb[index];
        // The spread holds the noise as well, and all else that differs between takes; with few
        // takes it may be small by chance. The larger of the two is therefore stated.
        confidence.uncertaintyDb = std::min(mostUncertainDb, std::max(fromNoiseDb, fromSpreadDb));
        const double halfWidthDb =
            std::max(fromNoiseDb * studentT95(std::max(1.0, 2.0 * widthHz * noiseSeconds)),
                     numKept > 1.0 ? fromSpreadDb * studentT95(numKept - 1.0) : 0.0);
        confidence.interval95Db = std::min(mostUncertainDb, std::hypot(halfWidthDb, methodErrorDb));
        result.push_back(confidence);
    }
    return result;
}

void markTrusted(Response& response, std::span<const dsp::Band> bands)
{
    for (std::size_t index = 0; index < bands.size(); ++index) {
        BandConfidence& band = response.bands[index];
        band.trusted = bands[index].lowerHz >= response.fromHz
                       && bands[index].upperHz <= response.toHz * 1.02
                       && band.snrDb >= leastUsableSnrDb;
    }
}

/** Lowers toHz to where the response was cut off, or where error that only exists while the track
    plays drowns the top. */
void limitTop(Response& response, std::span<const dsp::Band> bands,
              const std::vector<bool>& worseWhilePlaying)
{
    if (const auto cutHz = findCutHz(response)) {
        response.toHz = *cutHz;
        response.remarks.push_back("The top is cut off steeply, as lossy codecs (MP3, Bluetooth) "
                                   "and some radios do: to be "
                                   "trusted up to "
                                   + fixedText(*cutHz / 1000.0, 1) + " kHz.");
    }
    const double beforeHz = response.toHz;
    for (std::size_t index = bands.size(); index-- > 0;) {
        if (bands[index].lowerHz >= response.toHz)
            continue;
        if (!worseWhilePlaying[index] || response.bands[index].snrDb >= leastUsableSnrDb)
            break;
        response.toHz = bands[index].lowerHz;
    }
    if (response.toHz < beforeHz)
        response.remarks.push_back("While the track plays, error drowns the top (a lossy codec or "
                                   "something rattling): to be trusted up to "
                                   + fixedText(response.toHz / 1000.0, 1) + " kHz.");
    markTrusted(response, bands);
}

std::string bandRange(double fromHz, double toHz)
{
    return fixedText(fromHz, 0) + " Hz to " + fixedText(toHz, 0) + " Hz";
}

/** Bands of which more than half the takes say that error comes with the playing. */
std::vector<bool> worseInMostTakes(const std::vector<Deconvolved>& takes, std::size_t numBands)
{
    std::vector<bool> result(numBands);
    for (std::size_t band = 0; band < numBands; ++band)
        result[band] = 2
                           * std::ranges::count_if(takes,
                                                   [&](const Deconvolved& take) {
                                                       return bool(take.worseWhilePlaying[band]);
                                                   })
                       > static_cast<std::ptrdiff_t>(takes.size());
    return result;
}

void remarkOnTakes(Response& response, const CombinedTakes& combined,
                   const std::vector<std::string>& sources, std::size_t numLeftOut,
                   std::span<const dsp::Band> bands)
{
    for (const TakeRejection& rejection : combined.rejections)
        response.remarks.push_back("'" + sources[rejection.take] + "' was disturbed from "
                                   + bandRange(rejection.fromHz, rejection.toHz)
                                   + " and is left out there.");
    if (numLeftOut > 0)
        response.remarks.push_back(std::to_string(numLeftOut)
                                   + " repeat(s) of the track are left out: the level changed "
                                     "between their markers.");
    // Below it places differ little, above it a few centimetres turn the phase.
    const auto apart = std::ranges::find_if(bands, [&](const dsp::Band& band) {
        return band.lowerHz >= response.fromHz && band.centreHz <= 4000.0
               && !combined.inPhase[static_cast<std::size_t>(&band - bands.data())];
    });
    if (apart != bands.end())
        response.remarks.emplace_back("The takes differ in phase, as at several head places: their "
                                      "powers are averaged.");
}

} // namespace

dsp::Result<Response> measureResponse(const MeasurementRequest& request)
{
    if (!request.track.sweepLayout)
        return dsp::fail(dsp::ErrorCode::malformed,
                         "the signal description is of a "
                             + std::string(signals::signalTypeName(request.track.type))
                             + " signal; a response is measured with a sweep");
    if (request.recordings.empty())
        return dsp::fail(dsp::ErrorCode::malformed, "no recording was given");

    const double rate = request.track.sampleRate;
    Deconvolver deconvolver(request, rate);
    std::vector<Deconvolved> takes;
    std::vector<std::string> sources;
    std::size_t numLeftOut = 0;
    double clockPpm = 0.0;
    double recorderRate = rate;
    for (const Recording& recording : request.recordings) {
        const auto aligned = alignTakes(recording, request.track, numLeftOut);
        if (!aligned)
            return aligned.unexpected();
        for (const AlignedTake& take : *aligned) {
            auto deconvolved = deconvolver.run(take);
            if (!deconvolved)
                return deconvolved.unexpected();
            takes.push_back(std::move(*deconvolved));
            sources.push_back(take.source);
            clockPpm += take.markers.clockPpm;
        }
        recorderRate = std::min(recorderRate, recording.audio.sampleRate);
    }
    clockPpm /= static_cast<double>(takes.size());

    Response response;
    response.name = request.name;
    response.state = request.state;
    response.sampleRate = rate;
    response.arrivalFrame = toFrames(secondsBeforeArrival, rate);
    response.arrivalSeconds = takes.front().arrivalSeconds;
    // The faded edge of the sweep and what a recorder's own filter lets through bound the range.
    response.fromHz = request.track.sweepLayout->sweep.fromHz * sweptFromRatio;
    response.toHz = std::min(request.track.sweepLayout->sweep.toHz / 1.02, 0.45 * recorderRate);
    response.clockPpm = clockPpm;
    response.numTakes = takes.size();

    const auto bands = bandsBelowNyquist(rate);
    std::vector<std::vector<double>> impulses;
    std::vector<std::vector<HarmonicOrder>> distortions;
    for (Deconvolved& take : takes) {
        impulses.push_back(std::move(take.impulse));
        distortions.push_back(std::move(take.distortion));
    }
    const std::size_t fftSize = deconvolver.impulseFftSize();
    const auto noise = noiseOfTakes(takes, rate / static_cast<double>(fftSize), bands,
                                    response.fromHz, response.toHz);
    double noiseSeconds = 0.0;
    for (const Deconvolved& take : takes)
        noiseSeconds += take.noiseSeconds;
    const CombinedTakes combined = combineTakes(impulses, rate, noise);
    response.impulse.assign(combined.impulse.begin(), combined.impulse.end());
    response.distortion = medianDistortion(distortions);
    response.bands = bandConfidence(combined, noise, noiseSeconds, fftSize, rate);
    const auto worseWhilePlaying = worseInMostTakes(takes, bands.size());
    limitTop(response, bands, worseWhilePlaying);
    const DirectSound direct = findDirectSound(response);
    response.polarity = direct.polarity;
    response.polarityReason = direct.reason;

    std::vector<double> middleSnrs;
    response.snrDb = 400.0;
    for (const BandConfidence& band : response.bands) {
        if (band.frequencyHz >= 39.0 && band.frequencyHz <= 16000.0
            && band.frequencyHz >= response.fromHz && band.frequencyHz <= response.toHz)
            response.snrDb = std::min(response.snrDb, band.snrDb);
        if (band.frequencyHz >= 200.0 && band.frequencyHz <= 8000.0)
            middleSnrs.push_back(band.snrDb);
    }
    std::ranges::sort(middleSnrs);
    if (const double median = middleSnrs[middleSnrs.size() / 2]; median < leastUsableSnrDb)
        return refuse(
            request.recordings.front().name,
            "too much noise: the sweep stands only " + fixedText(median, 1)
                + " dB above it; turn the volume up, use a longer sweep or a quieter place");
    for (std::size_t index = 0; index < response.bands.size(); ++index) {
        const BandConfidence& band = response.bands[index];
        if (!band.trusted && band.snrDb < leastUsableSnrDb
            && band.frequencyHz >= response.fromHz * 1.2 && band.frequencyHz <= response.toHz / 1.2)
            response.remarks.push_back(
                dsp::nominalLabel(band.frequencyHz) + " Hz: only " + fixedText(band.snrDb, 1)
                + (worseWhilePlaying[index]
                       ? " dB above the error while the track plays (a codec or something rattling)"
                       : " dB above the noise")
                + "; not to be relied on");
    }
    remarkOnTakes(response, combined, sources, numLeftOut, bands);
    if (request.calibration) {
        response.hasCalibration = true;
        response.calibration = *request.calibration;
    } else {
        response.remarks.emplace_back("No calibration: levels are relative.");
    }
    return response;
}

dsp::Result<Calibration> readCalibration(const Recording& recording, double toneSplDb)
{
    if (!(toneSplDb >= 60.0 && toneSplDb <= 130.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the calibrator's level must lie between 60 and 130 dB SPL");
    const auto samples = loudestChannel(recording.audio);
    if (const auto check = checkNotSilent(samples, recording.name); !check)
        return check.unexpected();
    const double rate = recording.audio.sampleRate;
    if (const auto check = checkNotClipped(samples, rate, recording.name); !check)
        return check.unexpected();
    if (samples.size() < toFrames(1.0, rate))
        return refuse(recording.name, "a calibration needs at least 1 s of the calibrator's tone");
    const std::vector<float> floats(samples.begin(), samples.end());
    const auto power = dsp::welchPowerPerBin(floats, 16384);
    const double binHz = 0.5 * rate / static_cast<double>(power.size() - 1);
    double total = 0.0;
    for (const double value : power)
        total += value;
    const std::array<dsp::Band, 1> toneBand {dsp::Band {1000.0, 950.0, 1050.0}};
    const double tone = dsp::bandPowers(power, binHz, toneBand).front();
    if (tone < 0.9 * total)
        return refuse(recording.name,
                      "no steady tone near 1 kHz (it carries only "
                          + fixedText(100.0 * tone / total, 0)
                          + " % of the energy); seat the calibrator well and record again");
    return Calibration {toneSplDb, dsp::rmsToDbfs(std::sqrt(tone))};
}

} // namespace saddletone::measure
