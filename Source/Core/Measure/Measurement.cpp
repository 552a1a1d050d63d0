#include "Core/Measure/Measurement.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/Deconvolution.h"
#include "Core/Measure/DirectSound.h"
#include "Core/Measure/DropoutSearch.h"
#include "Core/Measure/HarmonicDistortion.h"
#include "Core/Measure/HarmonicImpulses.h"
#include "Core/Measure/MarkerSearch.h"
#include "Core/Measure/RecordingChecks.h"
#include "Core/Measure/Takes.h"
#include "Core/Measure/TrustLimit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>
#include <optional>
#include <span>

namespace saddletone::measure {

namespace {

using files::fixedText;

constexpr double highestLevelChangeDb = 1.5;
constexpr double leastUsableSnrDb = 10.0;
constexpr double mostUncertainDb = 400.0; // nothing at all is known
constexpr double shortestNoiseSeconds = 0.5;
constexpr double methodErrorDb = 0.01; // of the band levels of a take without noise

dsp::Unexpected refuse(const std::string& source, const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy, "recording '" + source + "': " + reason);
}

std::size_t toFrames(double seconds, double sampleRate)
{
    return static_cast<std::size_t>(std::lround(seconds * sampleRate));
}

/** Repeats of the track in a recording. */
struct FoundTakes {
    std::span<const float> samples; ///< The recording's loudest channel.
    std::vector<MarkerPair> pairs;
    std::vector<std::string> sources; ///< What messages call them.
};

/** Repeats of the track that are not used, by reason. */
struct LeftOut {
    std::size_t levelChanged = 0;
    std::size_t soundLost = 0;
};

/** Where sound is missing in the sweep of a repeat. */
std::vector<FoundDropout> dropoutsInSweep(std::span<const float> samples, double recorderRate,
                                          const MarkerPair& markers,
                                          const signals::SweepLayout& layout)
{
    const auto recorderFrames = [&](std::size_t trackFrames) {
        return static_cast<std::size_t>(
            std::lround(static_cast<double>(trackFrames) * markers.recorderFramesPerTrackFrame));
    };
    const std::size_t begin =
        std::min(samples.size(),
                 markers.firstFrame + recorderFrames(layout.sweepFrame - layout.firstMarkerFrame));
    const std::size_t length =
        std::min(samples.size() - begin, recorderFrames(layout.sweep.numFrames));
    auto dropouts = findDropouts(samples.subspan(begin, length), recorderRate);
    for (FoundDropout& dropout : dropouts)
        dropout.beginFrame += begin;
    return dropouts;
}

std::string lostSoundWords(const std::vector<FoundDropout>& dropouts, double recorderRate)
{
    std::size_t numFrames = 0;
    for (const FoundDropout& dropout : dropouts)
        numFrames += dropout.numFrames;
    const double milliseconds = 1000.0 * static_cast<double>(numFrames) / recorderRate;
    return fixedText(milliseconds, milliseconds < 10.0 ? 1 : 0) + " ms of sound are missing at "
           + fixedText(static_cast<double>(dropouts.front().beginFrame) / recorderRate, 2) + " s"
           + (dropouts.size() > 1 ? " and " + std::to_string(dropouts.size() - 1) + " more place(s)"
                                  : "")
           + ": the recorder or computer lost it; record again, with other programs closed or a "
             "larger buffer";
}

/** Finds every repeat of the track in a recording. Of several repeats, those whose level changes
    from marker to marker or that lack sound are left out and counted. */
dsp::Result<FoundTakes> findTakes(const Recording& recording,
                                  const signals::SignalDescription& track, LeftOut& leftOut,
                                  dsp::FftStore& transforms)
{
    const double recorderRate = recording.audio.sampleRate;
    FoundTakes takes;
    takes.samples = loudestChannel(recording.audio);
    if (const auto check = checkUsable(takes.samples, recorderRate, recording.name); !check)
        return check.unexpected();
    const auto pairs =
        findAllMarkers(takes.samples, recorderRate, track, recording.name, transforms);
    if (!pairs)
        return pairs.unexpected();
    std::string reason;
    for (std::size_t index = 0; index < pairs->size(); ++index) {
        const MarkerPair& markers = (*pairs)[index];
        const auto dropouts =
            dropoutsInSweep(takes.samples, recorderRate, markers, *track.sweepLayout);
        if (!dropouts.empty()) {
            ++leftOut.soundLost;
            reason = lostSoundWords(dropouts, recorderRate);
            continue;
        }
        if (std::abs(markers.levelChangeDb) > highestLevelChangeDb) {
            ++leftOut.levelChanged;
            reason = "its level changes by " + fixedText(markers.levelChangeDb, 1)
                     + " dB from the first to the second marker; switch off automatic gain and "
                       "limiters in recorder and radio, and leave the volume alone";
            continue;
        }
        takes.pairs.push_back(markers);
        takes.sources.push_back(pairs->size() == 1
                                    ? recording.name
                                    : recording.name + ", repeat " + std::to_string(index + 1));
    }
    if (takes.pairs.empty())
        return refuse(recording.name, reason);
    return takes;
}

/** Deconvolvers by the recorder's sample rate. */
using Deconvolvers = std::map<double, Deconvolver>;

/** Finds the takes of a recording and deconvolves them; both need plans and memory of their own,
    so the deconvolver is made while the markers are looked for. */
dsp::Result<void> addTakes(const MeasurementRequest& request, const Recording& recording,
                           double highestHarmonicHz, Deconvolvers& deconvolvers,
                           std::vector<DeconvolvedTake>& takes, std::vector<std::string>& sources,
                           double& clockPpm, LeftOut& leftOut, dsp::FftStore& transforms)
{
    std::optional<dsp::Result<FoundTakes>> found;
    dsp::runInParallel(2, [&](std::size_t task) {
        if (task == 0)
            deconvolvers.try_emplace(recording.audio.sampleRate, request,
                                     recording.audio.sampleRate, highestHarmonicHz, transforms);
        else
            found = findTakes(recording, request.track, leftOut, transforms);
    });
    if (!*found)
        return found->unexpected();
    const FoundTakes& here = **found;
    Deconvolver& deconvolver = deconvolvers.at(recording.audio.sampleRate);
    for (std::size_t index = 0; index < here.pairs.size(); ++index) {
        auto take = deconvolver.run(here.samples, here.pairs[index], here.sources[index]);
        if (!take)
            return take.unexpected();
        takes.push_back(std::move(*take));
        sources.push_back(here.sources[index]);
        clockPpm += here.pairs[index].clockPpm;
    }
    return {};
}

bool haveSameLevels(const std::vector<HarmonicOrder>& first,
                    const std::vector<HarmonicOrder>& second)
{
    return std::ranges::equal(first, second, [](const HarmonicOrder& a, const HarmonicOrder& b) {
        return a.order == b.order && a.levels.size() == b.levels.size();
    });
}

/** Noise of one take in each band: the median over takes, so that a disturbance in one is not held
    against all. */
std::vector<BandNoise> noiseOfTakes(const std::vector<DeconvolvedTake>& takes, double binHz,
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
                                           std::size_t size, double sampleRate,
                                           dsp::FftStore& transforms)
{
    const auto fft = transforms.real<double>(size, dsp::FftDirections::forwardOnly);
    std::ranges::fill(fft->time(), 0.0);
    std::ranges::copy(combined.impulse, fft->time().begin());
    fft->forward();
    std::vector<double> power(fft->numBins());
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = std::norm(fft->spectrum()[bin]);
    const double binHz = sampleRate / static_cast<double>(size);
    const double windowSeconds = ImpulseWindow::afterSeconds + ImpulseWindow::beforeSeconds
                                 - ImpulseWindow::fadeInSeconds
                                 - 0.5 * ImpulseWindow::fadeOutSeconds;

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

/** Lowers toHz to where the response was cut off, if it was, or where error that only exists while
    the track plays drowns the top. */
void limitTop(Response& response, std::optional<double> cutHz, std::span<const dsp::Band> bands,
              const std::vector<bool>& worseWhilePlaying)
{
    if (cutHz) {
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
std::vector<bool> worseInMostTakes(const std::vector<DeconvolvedTake>& takes, std::size_t numBands)
{
    std::vector<bool> result(numBands);
    for (std::size_t band = 0; band < numBands; ++band)
        result[band] = 2
                           * std::ranges::count_if(takes,
                                                   [&](const DeconvolvedTake& take) {
                                                       return bool(take.worseWhilePlaying[band]);
                                                   })
                       > static_cast<std::ptrdiff_t>(takes.size());
    return result;
}

void remarkOnTakes(Response& response, const CombinedTakes& combined,
                   const std::vector<std::string>& sources, const LeftOut& leftOut,
                   std::span<const dsp::Band> bands)
{
    for (const TakeRejection& rejection : combined.rejections)
        response.remarks.push_back("'" + sources[rejection.take] + "' was disturbed from "
                                   + bandRange(rejection.fromHz, rejection.toHz)
                                   + " and is left out there.");
    if (leftOut.soundLost > 0)
        response.remarks.push_back(std::to_string(leftOut.soundLost)
                                   + " repeat(s) of the track are left out: sound is missing in "
                                     "them.");
    if (leftOut.levelChanged > 0)
        response.remarks.push_back(std::to_string(leftOut.levelChanged)
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

/** The harmonics of takes made at one place; of several places their phases are no one's. */
std::optional<HarmonicImpulses> harmonicsOfTakes(const std::vector<DeconvolvedTake>& takes,
                                                 const CombinedTakes& combined,
                                                 std::span<const BandNoise> noise)
{
    for (std::size_t band = 0; band < noise.size(); ++band)
        if (noise[band].swept && noise[band].band.centreHz <= 4000.0 && !combined.inPhase[band])
            return std::nullopt;
    std::vector<HarmonicImpulses> all;
    for (const DeconvolvedTake& take : takes) {
        if (!take.harmonics)
            return std::nullopt;
        all.push_back(*take.harmonics);
    }
    return meanHarmonics(all, combined.lagFrames);
}

} // namespace

dsp::Result<Response> measureResponse(const MeasurementRequest& request, dsp::FftStore& transforms)
{
    if (!request.track.sweepLayout)
        return dsp::fail(dsp::ErrorCode::malformed,
                         "the signal description is of a "
                             + std::string(signals::signalTypeName(request.track.type))
                             + " signal; a response is measured with a sweep");
    if (request.recordings.empty())
        return dsp::fail(dsp::ErrorCode::malformed, "no recording was given");
    if (request.noise
        && static_cast<double>(request.noise->audio.numFrames())
               < shortestNoiseSeconds * request.noise->audio.sampleRate)
        return refuse(request.noise->name, "too short to tell the noise of the place; record some "
                                           "seconds with everything as for the take but silent");

    const double rate = request.track.sampleRate;
    double recorderRate = rate;
    for (const Recording& recording : request.recordings)
        recorderRate = std::min(recorderRate, recording.audio.sampleRate);
    // The faded edge of the sweep and what a recorder's own filter lets through bound the range.
    const double fromHz = request.track.sweepLayout->sweep.fromHz * sweptFromRatio;
    const double toHz = std::min(request.track.sweepLayout->sweep.toHz / 1.02, 0.45 * recorderRate);
    Deconvolvers deconvolvers;
    std::vector<DeconvolvedTake> takes;
    std::vector<std::string> sources;
    LeftOut leftOut;
    double clockPpm = 0.0;
    const auto goesOn = [&](std::size_t numDone) {
        return !request.onProgress
               || request.onProgress(static_cast<double>(numDone)
                                     / static_cast<double>(request.recordings.size() + 1));
    };
    for (std::size_t index = 0; index < request.recordings.size(); ++index) {
        const Recording& recording = request.recordings[index];
        if (!goesOn(index))
            return dsp::fail(dsp::ErrorCode::notTrustworthy, measurementCancelledMessage);
        if (const auto added = addTakes(request, recording, toHz, deconvolvers, takes, sources,
                                        clockPpm, leftOut, transforms);
            !added)
            return added.unexpected();
    }
    if (!goesOn(request.recordings.size()))
        return dsp::fail(dsp::ErrorCode::notTrustworthy, measurementCancelledMessage);
    clockPpm /= static_cast<double>(takes.size());

    Response response;
    response.name = request.name;
    response.state = request.state;
    response.sampleRate = rate;
    response.arrivalFrame = toFrames(ImpulseWindow::beforeSeconds, rate);
    response.arrivalSeconds = takes.front().arrivalSeconds;
    response.fromHz = fromHz;
    response.toHz = toHz;
    response.clockPpm = clockPpm;
    response.numTakes = takes.size();

    const auto bands = bandsBelowNyquist(rate);
    std::vector<std::vector<double>> impulses;
    std::vector<std::vector<HarmonicOrder>> distortions;
    for (DeconvolvedTake& take : takes) {
        impulses.push_back(std::move(take.impulse));
        // Recorders of different rates may lack an order at the edge of what can be told.
        if (distortions.empty() || haveSameLevels(distortions.front(), take.distortion))
            distortions.push_back(std::move(take.distortion));
    }
    const std::size_t fftSize = impulseFftSize(rate);
    const auto noise = noiseOfTakes(takes, rate / static_cast<double>(fftSize), bands,
                                    response.fromHz, response.toHz);
    double noiseSeconds = 0.0;
    for (const DeconvolvedTake& take : takes)
        noiseSeconds += take.noiseSeconds;
    const CombinedTakes combined = combineTakes(impulses, rate, noise);
    response.impulse.assign(combined.impulse.begin(), combined.impulse.end());
    response.distortion = medianDistortion(distortions);
    const auto worseWhilePlaying = worseInMostTakes(takes, bands.size());
    // The direct sound and the cut are found from the impulse alone, which nothing here changes.
    DirectSound direct;
    std::optional<double> cutHz;
    dsp::runInParallel(3, [&](std::size_t task) {
        if (task == 0)
            cutHz = findCutHz(response, transforms);
        else if (task == 1)
            direct = findDirectSound(response, transforms);
        else
            response.bands =
                bandConfidence(combined, noise, noiseSeconds, fftSize, rate, transforms);
    });
    limitTop(response, cutHz, bands, worseWhilePlaying);
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
    remarkOnTakes(response, combined, sources, leftOut, bands);
    response.harmonics = harmonicsOfTakes(takes, combined, noise);
    if (request.calibration) {
        response.hasCalibration = true;
        response.calibration = *request.calibration;
    } else {
        response.remarks.emplace_back("No calibration: levels are relative.");
    }
    return response;
}

dsp::Result<Response> measureResponse(const MeasurementRequest& request)
{
    dsp::FftStore transforms;
    return measureResponse(request, transforms);
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
    const auto power = dsp::welchPowerPerBin(samples, 16384);
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
