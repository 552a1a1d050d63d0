#include "Core/Signals/SegmentTrack.h"

#include "Core/Dsp/Units.h"
#include "Core/Signals/PolarityPulse.h"
#include "Core/Signals/Tones.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::signals {

namespace {

// Radios fade or mute the start of a track, and a pause between parts lets an ear and an analyser
// tell them apart.
constexpr double leadInSeconds = 0.75;
constexpr double pauseSeconds = 0.25;
constexpr double tailSeconds = 0.5;

std::size_t toFrames(double seconds, double sampleRate)
{
    return static_cast<std::size_t>(std::lround(seconds * sampleRate));
}

void place(dsp::AudioBuffer& audio, const std::vector<double>& samples,
           const SignalSegment& segment)
{
    const auto first = static_cast<std::ptrdiff_t>(segment.firstFrame);
    std::ranges::transform(samples, audio.channels[segment.channel].begin() + first,
                           [](double sample) { return static_cast<float>(sample); });
}

ToneShape toneOf(const SignalSegment& segment)
{
    return {segment.frequencyHz, dsp::dbToAmplitude(segment.levelDbfs), segment.numFrames,
            segment.fadeFrames};
}

WarbleShape warbleOf(const SignalSegment& segment)
{
    return {segment.fromHz, segment.toHz, dsp::dbToAmplitude(segment.levelDbfs), segment.numFrames,
            segment.fadeFrames};
}

/** Lays segments one after another, with the pauses; they come without their first frame. */
SegmentTrack inSequence(std::vector<SignalSegment> segments, double betweenSeconds,
                        double sampleRate)
{
    std::size_t frame = toFrames(leadInSeconds, sampleRate);
    for (SignalSegment& segment : segments) {
        segment.firstFrame = frame;
        frame += segment.numFrames + toFrames(betweenSeconds, sampleRate);
    }
    const SignalSegment& last = segments.back();
    SegmentTrack track;
    track.audio = dsp::makeSilence(
        sampleRate, 1, last.firstFrame + last.numFrames + toFrames(tailSeconds, sampleRate));
    for (const SignalSegment& segment : segments)
        place(track.audio,
              segment.toHz > 0.0 ? makeWarble(warbleOf(segment), sampleRate)
                                 : makeTone(toneOf(segment), sampleRate),
              segment);
    track.segments = std::move(segments);
    return track;
}

/** Repeats the first period of a track until seconds are filled. */
void repeatPeriod(SegmentTrack& track, double seconds)
{
    const auto times = static_cast<std::size_t>(std::ceil(
        seconds * track.audio.sampleRate / static_cast<double>(track.periodFrames) - 1e-9));
    for (auto& samples : track.audio.channels) {
        const std::vector<float> period = samples;
        samples.reserve(times * period.size());
        for (std::size_t count = 1; count < times; ++count)
            samples.insert(samples.end(), period.begin(), period.end());
    }
}

} // namespace

SegmentTrack makeWarbleTrack(const std::vector<dsp::Band>& bands, double secondsPerBand,
                             double levelDbfs, double sampleRate)
{
    std::vector<SignalSegment> segments;
    for (const dsp::Band& band : bands) {
        SignalSegment segment;
        segment.numFrames = toFrames(secondsPerBand, sampleRate);
        segment.fadeFrames = toFrames(0.1, sampleRate);
        segment.frequencyHz = band.centreHz;
        segment.fromHz = band.lowerHz;
        segment.toHz = band.upperHz;
        segment.levelDbfs = levelDbfs;
        segment.label = dsp::nominalLabel(band.centreHz) + " Hz";
        segments.push_back(segment);
    }
    return inSequence(std::move(segments), pauseSeconds, sampleRate);
}

SegmentTrack makeSteppedTrack(const std::vector<dsp::Band>& bands, double secondsPerStep,
                              double levelDbfs, double sampleRate)
{
    std::vector<SignalSegment> segments;
    for (const dsp::Band& band : bands) {
        SignalSegment segment;
        segment.numFrames = toFrames(secondsPerStep, sampleRate);
        segment.fadeFrames = toFrames(std::max(0.05, 3.0 / band.centreHz), sampleRate);
        segment.frequencyHz = band.centreHz;
        segment.levelDbfs = levelDbfs;
        segment.label = dsp::nominalLabel(band.centreHz) + " Hz";
        segments.push_back(segment);
    }
    return inSequence(std::move(segments), pauseSeconds, sampleRate);
}

SegmentTrack makeGainTrack(double secondsPerTone, double highestLevelDbfs, double sampleRate)
{
    const std::size_t holdFrames =
        toFrames(0.05, sampleRate)
        * static_cast<std::size_t>(std::max(1L, std::lround(secondsPerTone / 0.05)));
    std::vector<SignalSegment> segments;
    for (const double frequencyHz : {1000.0, 40.0})
        for (const double belowDb : {10.0, 5.0, 0.0}) {
            SignalSegment segment;
            segment.fadeFrames = toFrames(0.1, sampleRate);
            segment.numFrames = holdFrames + 2 * segment.fadeFrames;
            segment.frequencyHz = frequencyHz;
            segment.levelDbfs = highestLevelDbfs - belowDb;
            segment.label = frequencyHz >= 1000.0 ? "1 kHz" : "40 Hz";
            segments.push_back(segment);
        }
    return inSequence(std::move(segments), 2.0, sampleRate);
}

SegmentTrack makeChannelTrack(double seconds, double levelDbfs, double sampleRate)
{
    struct Group {
        const char* label;
        std::size_t numBeeps;
        std::size_t channel;
        double startSeconds;
    };
    constexpr std::array groups {
        Group {"front left", 1, 0, 0.75}, Group {"front right", 2, 1, 3.75},
        Group {"rear left", 3, 0, 11.75}, Group {"rear right", 4, 1, 14.75}};
    constexpr double periodSeconds = 22.0;
    constexpr double beepSeconds = 0.2;

    SegmentTrack track;
    track.periodFrames = toFrames(periodSeconds, sampleRate);
    track.audio = dsp::makeSilence(sampleRate, 2, track.periodFrames);
    for (const Group& group : groups)
        for (std::size_t beep = 0; beep < group.numBeeps; ++beep) {
            SignalSegment segment;
            segment.firstFrame = toFrames(
                group.startSeconds + 2.0 * beepSeconds * static_cast<double>(beep), sampleRate);
            segment.numFrames = toFrames(beepSeconds, sampleRate);
            segment.fadeFrames = toFrames(0.01, sampleRate);
            segment.frequencyHz = 1000.0; // every speaker group plays it, tweeters apart
            segment.levelDbfs = levelDbfs;
            segment.channel = group.channel;
            segment.label = group.label;
            place(track.audio, makeTone(toneOf(segment), sampleRate), segment);
            track.segments.push_back(segment);
        }
    repeatPeriod(track, seconds);
    return track;
}

SegmentTrack makePolarityTrack(double seconds, double levelDbfs, double sampleRate)
{
    PulseShape shape;
    shape.amplitude = dsp::dbToAmplitude(levelDbfs);
    const auto pulse = makePulse(shape, sampleRate);

    SegmentTrack track;
    track.periodFrames = toFrames(0.5, sampleRate);
    track.audio = dsp::makeSilence(sampleRate, 1, track.periodFrames);
    SignalSegment segment;
    segment.firstFrame = track.periodFrames / 2;
    segment.numFrames = pulse.size();
    segment.levelDbfs = levelDbfs;
    segment.label = "positive pulse";
    place(track.audio, pulse, segment);
    track.segments.push_back(segment);
    repeatPeriod(track, seconds);
    return track;
}

} // namespace saddletone::signals
