#include "Core/Signals/Signal.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/InnerPath.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"
#include "Core/Signals/CalibratedPink.h"
#include "Core/Signals/Multitone.h"
#include "Core/Signals/SegmentTrack.h"
#include "Core/Signals/ShapedNoise.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <nlohmann/json.hpp>

namespace saddletone::signals {

namespace {

constexpr double highestSweepFraction = 0.4583; // of the sample rate: 22 kHz at 48 kHz

dsp::Unexpected outOfRange(const std::string& message)
{
    return dsp::fail(dsp::ErrorCode::outOfRange, message);
}

/** A track of parts, whose length is asked for by part. */
bool countsByPart(SignalType type) noexcept
{
    return type == SignalType::bands || type == SignalType::stepped || type == SignalType::gainSet;
}

/** Band limits named by third octaves. */
bool namesBands(SignalType type) noexcept
{
    return type == SignalType::bands || type == SignalType::stepped
           || type == SignalType::multitone;
}

bool isNoise(SignalType type) noexcept
{
    return type == SignalType::pink || type == SignalType::white || type == SignalType::level;
}

struct BandLimits {
    double fromHz;
    double toHz;
};

/** As asked for, or what the type has. */
BandLimits limitsOf(const SignalRequest& request)
{
    BandLimits limits {10.0, 22400.0};
    if (request.type == SignalType::level)
        limits = {500.0, 2000.0}; // EBU's listening-level noise spans the same
    else if (request.type == SignalType::sweep)
        limits = {20.0, std::min(22000.0, highestSweepFraction * request.sampleRate)};
    else if (namesBands(request.type))
        limits = {25.0, 16000.0};
    return {request.fromHz.value_or(limits.fromHz), request.toHz.value_or(limits.toHz)};
}

std::optional<dsp::Unexpected> checkLength(const SignalRequest& request)
{
    if (countsByPart(request.type) && !(request.seconds >= 1.0 && request.seconds <= 20.0))
        return outOfRange("each part of a " + std::string(signalTypeName(request.type))
                          + " track lasts 1 to 20 s, not " + files::fixedText(request.seconds, 2));
    if (!(request.seconds >= 0.5 && request.seconds <= 600.0))
        return outOfRange("a test signal lasts 0.5 to 600 s, not "
                          + files::fixedText(request.seconds, 2));
    return std::nullopt;
}

std::optional<dsp::Unexpected> checkBand(const SignalRequest& request)
{
    const double nyquistHz = 0.5 * request.sampleRate;
    if (isNoise(request.type) || request.type == SignalType::sweep) {
        // The default upper limit gives way to a low sample rate; one that was asked for does not.
        const double fromHz = limitsOf(request).fromHz;
        const double toHz =
            request.toHz ? *request.toHz : std::min(limitsOf(request).toHz, nyquistHz);
        if (!(fromHz >= 5.0 && toHz <= nyquistHz && fromHz * 1.1 <= toHz))
            return outOfRange(
                "the band must lie between 5 Hz and half the sample rate ("
                + files::fixedText(nyquistHz, 0) + " Hz), its upper limit above the lower; not "
                + files::fixedText(fromHz, 1) + " to " + files::fixedText(toHz, 1) + " Hz");
    }
    if (namesBands(request.type)) {
        const BandLimits limits = limitsOf(request);
        if (!(limits.fromHz >= 20.0 && limits.toHz <= nyquistHz && limits.fromHz <= limits.toHz))
            return outOfRange("third octaves go from 20 Hz to half the sample rate ("
                              + files::fixedText(nyquistHz, 0) + " Hz), not from "
                              + files::fixedText(limits.fromHz, 1) + " to "
                              + files::fixedText(limits.toHz, 1) + " Hz");
        const auto bands = dsp::octaveBands(3, limits.fromHz, limits.toHz);
        if (bands.empty())
            return outOfRange("no third octave has its middle between "
                              + files::fixedText(limits.fromHz, 1) + " and "
                              + files::fixedText(limits.toHz, 1) + " Hz; widen the band");
        if (bands.back().upperHz > 0.49 * request.sampleRate)
            return outOfRange("the third octave of " + dsp::nominalLabel(bands.back().centreHz)
                              + " Hz reaches beyond half the sample rate; end below it or use a "
                                "higher sample rate");
    }
    if (request.type == SignalType::multitone && request.tonesPerOctave != 3
        && request.tonesPerOctave != 6 && request.tonesPerOctave != 12
        && request.tonesPerOctave != 24)
        return outOfRange("a multitone has 3, 6, 12 or 24 tones an octave, not "
                          + std::to_string(request.tonesPerOctave));
    if (request.type == SignalType::sine
        && !(request.frequencyHz * request.seconds >= 1.0 && request.frequencyHz >= 5.0
             && request.frequencyHz <= 0.499 * request.sampleRate))
        return outOfRange(
            "the sine's frequency must lie between 5 Hz and half the sample rate, not "
            + files::fixedText(request.frequencyHz, 1) + " Hz");
    return std::nullopt;
}

std::optional<dsp::Unexpected> checkRequest(const SignalRequest& request)
{
    if (std::ranges::find(signalSampleRates, request.sampleRate) == signalSampleRates.end())
        return outOfRange("sample rate " + files::fixedText(request.sampleRate, 0)
                          + " Hz is not offered; use 44100, 48000, 88200 or 96000");
    if (const auto problem = checkLength(request))
        return problem;
    // JSON readers of other programs take whole numbers of 63 bits.
    if (request.seed > static_cast<std::uint64_t>(std::numeric_limits<long long>::max()))
        return outOfRange("the seed must lie between 0 and 2^63 - 1");
    const double lowestDbfs = request.type == SignalType::gainSet ? -90.0 : -100.0;
    if (!(request.levelDbfs >= lowestDbfs && request.levelDbfs <= 0.0))
        return outOfRange("the level must lie between " + files::fixedText(lowestDbfs, 0)
                          + " and 0 dBFS, not " + files::fixedText(request.levelDbfs, 2));
    return checkBand(request);
}

std::size_t toFrames(double seconds, double sampleRate)
{
    return static_cast<std::size_t>(std::lround(seconds * sampleRate));
}

std::vector<float> repeated(const std::vector<float>& period, std::size_t times)
{
    std::vector<float> samples;
    samples.reserve(period.size() * times);
    for (std::size_t count = 0; count < times; ++count)
        samples.insert(samples.end(), period.begin(), period.end());
    return samples;
}

std::vector<float> makeNoise(const SignalRequest& request, SignalDescription& description)
{
    NoiseShape shape;
    shape.colour = request.type == SignalType::white ? NoiseColour::white : NoiseColour::pink;
    shape.sampleRate = request.sampleRate;
    shape.fromHz = limitsOf(request).fromHz;
    shape.toHz = limitsOf(request).toHz;
    shape.rms = dsp::dbfsToRms(request.levelDbfs);
    shape.seed = request.seed;
    description.fromHz = shape.fromHz;
    description.toHz = std::min(shape.toHz, 0.5 * request.sampleRate);
    description.seed = request.seed;

    const std::size_t numFrames = toFrames(request.seconds, request.sampleRate);
    if (request.repetition == Repetition::none)
        return makeShapedNoise(shape, numFrames);
    // 2^19 frames at 48 kHz, 10.9 s, is the period of SMPTE ST 2095-1; shorter where the file is.
    std::size_t period = request.sampleRate > 50000.0 ? 1U << 20U : 1U << 19U;
    while (period > numFrames)
        period /= 2;
    description.periodFrames = period;
    return repeated(makeShapedNoise(shape, period), (numFrames + period - 1) / period);
}

std::vector<float> makeSine(const SignalRequest& request, SignalDescription& description)
{
    const std::size_t numFrames = toFrames(request.seconds, request.sampleRate);
    // Whole cycles: the level is exact over the file and it can be looped.
    const double cycles =
        std::round(request.frequencyHz * static_cast<double>(numFrames) / request.sampleRate);
    description.frequencyHz = cycles * request.sampleRate / static_cast<double>(numFrames);
    description.periodFrames = numFrames;
    const double amplitude = dsp::dbToAmplitude(request.levelDbfs);
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const double turns = cycles * static_cast<double>(frame) / static_cast<double>(numFrames);
        samples[frame] = static_cast<float>(
            amplitude * std::sin(2.0 * std::numbers::pi * (turns - std::floor(turns))));
    }
    return samples;
}

std::vector<float> makeSweepTrack(const SignalRequest& request, SignalDescription& description)
{
    const double rate = request.sampleRate;
    SweepLayout layout;
    layout.sweep.fromHz = limitsOf(request).fromHz;
    layout.sweep.toHz = std::min(limitsOf(request).toHz, highestSweepFraction * rate);
    layout.sweep.numFrames = toFrames(request.seconds, rate);
    layout.sweep.amplitude = dsp::dbToAmplitude(request.levelDbfs);
    // A sixth of an octave to rise in, so that the lowest bands hear no click; a forty-eighth to
    // fall, since high frequencies pass quickly.
    const double framesPerOctave = static_cast<double>(layout.sweep.numFrames)
                                   / std::log2(layout.sweep.toHz / layout.sweep.fromHz);
    layout.sweep.fadeInFrames = static_cast<std::size_t>(framesPerOctave / 6.0);
    layout.sweep.fadeOutFrames = static_cast<std::size_t>(framesPerOctave / 48.0);
    layout.marker.amplitude = layout.sweep.amplitude;

    // The gaps let the place ring out, so that neither marker nor sweep stands in another's tail.
    const std::size_t markerFrames = toFrames(layout.marker.durationSeconds, rate);
    layout.firstMarkerFrame = toFrames(0.75, rate);
    layout.sweepFrame = layout.firstMarkerFrame + markerFrames + toFrames(1.0, rate);
    layout.secondMarkerFrame = layout.sweepFrame + layout.sweep.numFrames + toFrames(2.0, rate);
    std::vector<float> samples(layout.secondMarkerFrame + markerFrames + toFrames(1.0, rate), 0.0F);

    const auto place = [&samples](const std::vector<double>& part, std::size_t frame) {
        std::ranges::transform(part, samples.begin() + static_cast<std::ptrdiff_t>(frame),
                               [](double sample) { return static_cast<float>(sample); });
    };
    const auto marker = makeMarker(layout.marker, rate);
    place(marker, layout.firstMarkerFrame);
    place(makeSweep(layout.sweep, rate), layout.sweepFrame);
    place(marker, layout.secondMarkerFrame);

    description.fromHz = layout.sweep.fromHz;
    description.toHz = layout.sweep.toHz;
    description.sweepLayout = layout;
    return samples;
}

std::vector<float> toFloats(const std::vector<double>& samples)
{
    std::vector<float> floats(samples.size());
    std::ranges::transform(samples, floats.begin(),
                           [](double sample) { return static_cast<float>(sample); });
    return floats;
}

/** Whole periods, so many that they last as long as asked for. */
std::vector<float> wholePeriods(const std::vector<double>& period, const SignalRequest& request,
                                SignalDescription& description)
{
    description.periodFrames = period.size();
    const std::size_t numFrames = toFrames(request.seconds, request.sampleRate);
    return repeated(toFloats(period), (numFrames + period.size() - 1) / period.size());
}

std::vector<float> makeCalibratedPinkTrack(const SignalRequest& request,
                                           SignalDescription& description)
{
    const auto period = makeCalibratedPink(request.sampleRate);
    double meanSquare = 0.0;
    for (const double sample : period)
        meanSquare += sample * sample;
    meanSquare /= static_cast<double>(period.size());
    description.levelDbfs = dsp::rmsToDbfs(std::sqrt(meanSquare));
    description.fromHz = CalibratedPinkFacts::fromHz;
    description.toHz = std::min(CalibratedPinkFacts::toHz, 0.5 * request.sampleRate);
    return wholePeriods(period, request, description);
}

std::vector<float> makeMultitoneTrack(const SignalRequest& request, SignalDescription& description)
{
    const BandLimits limits = limitsOf(request);
    const auto bands = dsp::octaveBands(3, limits.fromHz, limits.toHz);
    MultitoneShape shape;
    shape.sampleRate = request.sampleRate;
    // About 0.7 s. A longer period would set the lowest tones finer, but gives the tones of
    // different frequencies more chances to meet, and so a higher crest.
    shape.periodFrames = request.sampleRate > 50000.0 ? 1U << 16U : 1U << 15U;
    shape.tonesPerOctave = request.tonesPerOctave;
    shape.fromHz = bands.front().lowerHz;
    shape.toHz = bands.back().upperHz;
    shape.levelDbfs = request.levelDbfs;
    description.fromHz = shape.fromHz;
    description.toHz = shape.toHz;
    description.tones = chooseTones(shape);
    return wholePeriods(makeMultitone(description.tones, shape.periodFrames), request, description);
}

SegmentTrack makeSegmentTrack(const SignalRequest& request)
{
    const BandLimits limits = limitsOf(request);
    switch (request.type) {
    case SignalType::bands:
        return makeWarbleTrack(dsp::octaveBands(3, limits.fromHz, limits.toHz), request.seconds,
                               request.levelDbfs, request.sampleRate);
    case SignalType::stepped:
        return makeSteppedTrack(dsp::octaveBands(3, limits.fromHz, limits.toHz), request.seconds,
                                request.levelDbfs, request.sampleRate);
    case SignalType::gainSet:
        return makeGainTrack(request.seconds, request.levelDbfs, request.sampleRate);
    case SignalType::polarity:
        return makePolarityTrack(request.seconds, request.levelDbfs, request.sampleRate);
    default: break;
    }
    return makeChannelTrack(request.seconds, request.levelDbfs, request.sampleRate);
}

} // namespace

SignalRequest usualRequest(SignalType type) noexcept
{
    SignalRequest request;
    request.type = type;
    switch (type) {
    case SignalType::sweep:
        request.seconds = 12.0;
        request.levelDbfs = -12.0;
        break;
    // A slow time weighting (1 s) needs about three seconds to settle.
    case SignalType::bands: request.seconds = 4.0; break;
    case SignalType::stepped: request.seconds = 3.0; break;
    case SignalType::polarity: request.levelDbfs = -12.0; break;
    case SignalType::channels: request.seconds = 44.0; break;
    case SignalType::gainSet:
        request.seconds = 10.0;
        request.levelDbfs = 0.0;
        break;
    case SignalType::calibratedPink: request.levelDbfs = CalibratedPinkFacts::levelDbfs; break;
    case SignalType::pink:
    case SignalType::white:
    case SignalType::sine:
    case SignalType::silence:
    case SignalType::level:
    case SignalType::multitone: break;
    }
    return request;
}

dsp::Result<Signal> makeSignal(const SignalRequest& request)
{
    if (const auto problem = checkRequest(request))
        return *problem;

    Signal signal;
    SignalDescription& description = signal.description;
    description.type = request.type;
    description.sampleRate = request.sampleRate;
    description.levelDbfs = request.levelDbfs;
    std::vector<float> samples;
    switch (request.type) {
    case SignalType::pink:
    case SignalType::level:
    case SignalType::white: samples = makeNoise(request, description); break;
    case SignalType::sweep: samples = makeSweepTrack(request, description); break;
    case SignalType::sine: samples = makeSine(request, description); break;
    case SignalType::silence:
        samples.resize(toFrames(request.seconds, request.sampleRate));
        description.levelDbfs = dsp::silenceDb;
        break;
    case SignalType::calibratedPink: samples = makeCalibratedPinkTrack(request, description); break;
    case SignalType::multitone: samples = makeMultitoneTrack(request, description); break;
    case SignalType::bands:
    case SignalType::stepped:
    case SignalType::polarity:
    case SignalType::channels:
    case SignalType::gainSet: {
        SegmentTrack track = makeSegmentTrack(request);
        signal.audio = std::move(track.audio);
        description.segments = std::move(track.segments);
        description.periodFrames = track.periodFrames;
        if (namesBands(request.type)) {
            const BandLimits limits = limitsOf(request);
            const auto bands = dsp::octaveBands(3, limits.fromHz, limits.toHz);
            description.fromHz = bands.front().lowerHz;
            description.toHz = bands.back().upperHz;
        }
        break;
    }
    }
    if (signal.audio.channels.empty())
        signal.audio = {request.sampleRate, {std::move(samples)}};

    float peak = 0.0F;
    for (const auto& channel : signal.audio.channels)
        for (const float sample : channel)
            peak = std::max(peak, std::abs(sample));
    description.peakDbfs = dsp::amplitudeToDb(static_cast<double>(peak));
    // Half a dB of room where many tones meet keeps dither and resampling in the player clear of
    // full scale.
    const double roomDb =
        isNoise(request.type) || request.type == SignalType::multitone ? 0.5 : 0.0;
    if (description.peakDbfs > -roomDb + 1e-6)
        return outOfRange(
            "at " + files::fixedText(request.levelDbfs, 1) + " dBFS the peaks of this "
            + std::string(signalTypeName(request.type))
            + " signal would pass full scale; use a level of at most "
            + files::fixedText(
                std::floor((request.levelDbfs - description.peakDbfs - roomDb) * 10.0) / 10.0, 1)
            + " dBFS");
    description.numFrames = signal.audio.numFrames();
    description.numChannels = signal.audio.numChannels();
    return signal;
}

dsp::Result<std::filesystem::path>
saveSignal(const Signal& signal, const std::filesystem::path& audioFile, files::SampleFormat format)
{
    const auto descriptionFile = descriptionPath(audioFile);
    SignalDescription description = signal.description;
    description.file = audioFile.filename().string();
    const auto present = loadSignalDescription(descriptionFile);
    const auto described = present ? files::resolveBeside(audioFile, present->file)
                                   : dsp::Result<std::filesystem::path>(present.unexpected());
    if (described && present->file != description.file && std::filesystem::exists(*described))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "'" + descriptionFile.string() + "' describes '" + present->file
                             + "', which stands beside it; write '" + description.file
                             + "' to another folder or under another name");

    if (const auto written =
            files::writeAudioFile(signal.audio, audioFile, format, description.seed);
        !written)
        return written.unexpected();
    const auto checksum = files::fileChecksum(audioFile);
    if (!checksum)
        return checksum.unexpected();
    description.checksum = *checksum;

    const bool mp3 = files::fileTypeOf(audioFile) == files::FileType::mp3;
    if (mp3)
        description.lossyCoding = {"mp3", files::mp3BitRateKbps, files::mp3UntrimmedDelayFrames};
    nlohmann::json json = descriptionToJson(description);
    if (!mp3)
        json["sampleFormat"] = files::sampleFormatName(format);
    if (const auto written = files::writeTextFile(descriptionFile, files::jsonText(json)); !written)
        return written.unexpected();
    return descriptionFile;
}

} // namespace saddletone::signals
