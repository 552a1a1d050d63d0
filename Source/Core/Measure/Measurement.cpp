#include "Core/Measure/Measurement.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"
#include "Core/Measure/MarkerSearch.h"
#include "Core/Measure/RecordingChecks.h"

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

/** One take, brought to the track's clock. */
struct AlignedTake {
    std::vector<double> samples;
    std::size_t trackStart = 0; ///< Frame in samples where the track's frame leadFrames stands.
    MarkerPair markers;
    double recorderRate = 0.0;
};

/** A deconvolved take before averaging. */
struct Deconvolved {
    std::vector<double> impulse;
    std::vector<double> noisePerBin; ///< Expected |noise|^2 of the impulse's spectrum, per bin.
};

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

/** Finds the track in a recording and resamples it to the track's clock. In the result the first
    marker starts at frame leadSeconds. */
dsp::Result<AlignedTake> alignTake(const Recording& recording,
                                   const signals::SignalDescription& track)
{
    const double recorderRate = recording.audio.sampleRate;
    const std::vector<double> samples = loudestChannel(recording.audio);
    if (const auto check = checkNotSilent(samples, recording.name); !check)
        return check.unexpected();
    if (const auto check = checkNotClipped(samples, recorderRate, recording.name); !check)
        return check.unexpected();
    const auto markers = findMarkers(samples, recorderRate, track, recording.name);
    if (!markers)
        return markers.unexpected();
    if (std::abs(markers->levelChangeDb) > highestLevelChangeDb)
        return refuse(
            recording.name,
            "its level changes by " + fixedText(markers->levelChangeDb, 1)
                + " dB from the first to the second marker; switch off automatic gain and "
                  "limiters in recorder and radio, and leave the volume alone");

    // The piece of the recording around the track, with silence where it was not recorded.
    const signals::SweepLayout& layout = *track.sweepLayout;
    const double ratio = markers->recorderFramesPerTrackFrame;
    const auto lead = static_cast<std::ptrdiff_t>(toFrames(leadSeconds, recorderRate));
    const auto length = static_cast<std::size_t>(
        std::ceil(static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame) * ratio
                  + (leadSeconds + layout.marker.durationSeconds + 0.5) * recorderRate));
    std::vector<double> piece(length, 0.0);
    for (std::size_t frame = 0; frame < length; ++frame) {
        const auto position = static_cast<std::ptrdiff_t>(markers->firstFrame + frame) - lead;
        if (position >= 0 && static_cast<std::size_t>(position) < samples.size())
            piece[frame] = samples[static_cast<std::size_t>(position)];
    }

    AlignedTake take;
    take.markers = *markers;
    take.recorderRate = recorderRate;
    // A spacing off by less than a ten-thousandth of a frame is no difference at all.
    const bool sameClock =
        std::abs(markers->spacingFrames
                 - static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame))
        < 1e-4;
    take.samples = sameClock ? std::move(piece) : files::resample(piece, 1.0 / ratio);
    take.trackStart = static_cast<std::size_t>(std::lround(static_cast<double>(lead) / ratio));
    return take;
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
        : request(measurement), layout(*measurement.track.sweepLayout), rate(sampleRate)
    {
        sweep = signals::makeSweep(layout.sweep, rate);
    }

    [[nodiscard]] dsp::Result<Deconvolved> run(const AlignedTake& take,
                                               const std::string& source) const
    {
        // From some silence before the sweep to the end of the pause behind it.
        const std::size_t before = toFrames(0.3, rate);
        const std::size_t sweepStart =
            take.trackStart + layout.sweepFrame - layout.firstMarkerFrame;
        const std::size_t pauseEnd = take.trackStart + layout.secondMarkerFrame
                                     - layout.firstMarkerFrame - toFrames(0.05, rate);
        const std::size_t length = pauseEnd - (sweepStart - before);
        const std::size_t size = dsp::fastFftSize(length + sweep.size());

        dsp::RealFft<double> fft(size);
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(sweep, fft.time().begin() + static_cast<std::ptrdiff_t>(before));
        fft.forward();
        const std::vector<std::complex<double>> played(fft.spectrum().begin(),
                                                       fft.spectrum().end());
        double mostPower = 0.0;
        for (const auto& bin : played)
            mostPower = std::max(mostPower, std::norm(bin));

        std::ranges::fill(fft.time(), 0.0);
        std::copy_n(take.samples.begin() + static_cast<std::ptrdiff_t>(sweepStart - before), length,
                    fft.time().begin());
        // The last moments fade, so that a tail still sounding is not cut off with a click.
        const std::size_t tailFade = toFrames(0.1, rate);
        for (std::size_t frame = 0; frame < tailFade; ++frame)
            fft.time()[length - 1 - frame] *=
                raisedCosine(static_cast<double>(frame) / static_cast<double>(tailFade));
        fft.forward();

        // Far below the least power inside the band; it only keeps what lies outside finite.
        const double regularisation = 1e-9 * mostPower;
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

        const auto noise = noiseOf(take, pauseEnd);
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
                source,
                "wrong track: the sweep in it is not the one described (range or length differ); "
                "give the description of the track that was played");
        return result;
    }

    [[nodiscard]] std::size_t impulseFftSize() const
    {
        return dsp::fastFftSize(toFrames(secondsBeforeArrival, rate)
                                + toFrames(secondsAfterArrival, rate));
    }

private:
    /** Samples of the place without the signal, at the track's rate. */
    [[nodiscard]] std::vector<double> noiseOf(const AlignedTake& take, std::size_t pauseEnd) const
    {
        if (request.noise) {
            const auto noise = loudestChannel(request.noise->audio);
            return files::resample(noise, rate / request.noise->audio.sampleRate);
        }
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
    std::vector<double> sweep;
};

/** Mean power over takes with the phase of the first. */
std::vector<double> averageTakes(const std::vector<Deconvolved>& takes, std::size_t size)
{
    if (takes.size() == 1)
        return takes.front().impulse;
    dsp::RealFft<double> fft(size);
    const auto transform = [&](const std::vector<double>& impulse) {
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(impulse, fft.time().begin());
        fft.forward();
    };
    std::vector<double> power(fft.numBins(), 0.0);
    for (const Deconvolved& take : takes) {
        transform(take.impulse);
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] += std::norm(fft.spectrum()[bin]) / static_cast<double>(takes.size());
    }
    transform(takes.front().impulse);
    for (std::size_t bin = 0; bin < power.size(); ++bin) {
        const double magnitude = std::abs(fft.spectrum()[bin]);
        if (magnitude > 0.0)
            fft.spectrum()[bin] *= std::sqrt(power[bin]) / magnitude;
    }
    fft.inverse();
    return {fft.time().begin(),
            fft.time().begin() + static_cast<std::ptrdiff_t>(takes.front().impulse.size())};
}

std::vector<BandConfidence> bandConfidence(const std::vector<double>& impulse,
                                           const std::vector<Deconvolved>& takes, std::size_t size,
                                           double sampleRate, double fromHz, double toHz)
{
    dsp::RealFft<double> fft(size);
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    std::vector<double> power(fft.numBins());
    std::vector<double> noise(fft.numBins(), 0.0);
    for (std::size_t bin = 0; bin < power.size(); ++bin) {
        power[bin] = std::norm(fft.spectrum()[bin]);
        for (const Deconvolved& take : takes)
            noise[bin] += take.noisePerBin[bin] / static_cast<double>(takes.size());
    }
    const double binHz = sampleRate / static_cast<double>(size);
    const double windowSeconds =
        secondsAfterArrival + secondsBeforeArrival - fadeInSeconds - 0.5 * fadeOutSeconds;

    std::vector<BandConfidence> result;
    for (const dsp::Band& band : dsp::thirdOctaveBands()) {
        if (band.centreHz > 0.5 * sampleRate)
            break;
        const std::array<dsp::Band, 1> only {band};
        const double widthHz = band.upperHz - band.lowerHz;
        const double bandPower = dsp::bandPowers(power, binHz, only).front() / (widthHz / binHz);
        const double bandNoise = dsp::bandPowers(noise, binHz, only).front() / (widthHz / binHz);
        const double signal = std::max(bandPower - bandNoise, 1e-6 * bandPower);
        const double snr = bandNoise > 0.0 ? signal / bandNoise : 1e12;
        // The cross term of response and noise dominates: relative variance 2 / (SNR n) over n
        // independent values in the band.
        const double independent =
            std::max(1.0, widthHz * windowSeconds) * static_cast<double>(takes.size());
        BandConfidence confidence;
        confidence.frequencyHz = band.centreHz;
        confidence.levelDb = dsp::powerToDb(bandPower);
        confidence.snrDb = dsp::powerToDb(snr);
        confidence.uncertaintyDb = 10.0 / std::numbers::ln10 * std::sqrt(2.0 / (snr * independent));
        confidence.trusted = band.lowerHz >= fromHz && band.upperHz <= toHz * 1.02
                             && confidence.snrDb >= leastUsableSnrDb;
        result.push_back(confidence);
    }
    return result;
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
    const Deconvolver deconvolver(request, rate);
    std::vector<Deconvolved> takes;
    double clockPpm = 0.0;
    double recorderRate = rate;
    for (const Recording& recording : request.recordings) {
        const auto take = alignTake(recording, request.track);
        if (!take)
            return take.unexpected();
        auto deconvolved = deconvolver.run(*take, recording.name);
        if (!deconvolved)
            return deconvolved.unexpected();
        takes.push_back(std::move(*deconvolved));
        clockPpm += take->markers.clockPpm / static_cast<double>(request.recordings.size());
        recorderRate = std::min(recorderRate, take->recorderRate);
    }

    Response response;
    response.name = request.name;
    response.state = request.state;
    response.sampleRate = rate;
    response.arrivalFrame = toFrames(secondsBeforeArrival, rate);
    // The faded edge of the sweep and what a recorder's own filter lets through bound the range.
    response.fromHz = request.track.sweepLayout->sweep.fromHz * 1.119;
    response.toHz = std::min(request.track.sweepLayout->sweep.toHz / 1.02, 0.45 * recorderRate);
    response.clockPpm = clockPpm;
    response.numTakes = takes.size();
    const auto impulse = averageTakes(takes, deconvolver.impulseFftSize());
    response.impulse.assign(impulse.begin(), impulse.end());
    response.bands = bandConfidence(impulse, takes, deconvolver.impulseFftSize(), rate,
                                    response.fromHz, response.toHz);

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
    for (const BandConfidence& band : response.bands)
        if (!band.trusted && band.frequencyHz >= response.fromHz * 1.2
            && band.frequencyHz <= response.toHz / 1.2)
            response.remarks.push_back(dsp::nominalLabel(band.frequencyHz) + " Hz: only "
                                       + fixedText(band.snrDb, 1)
                                       + " dB above the noise; not to be relied on");
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
