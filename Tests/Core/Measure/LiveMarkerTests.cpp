#include "Core/Measure/LiveMarker.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Measure/MarkerSearch.h"
#include "Support/SimulatedBike.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using measure::LiveMarker;

namespace {

signals::Signal sweepTrack(double seconds)
{
    signals::SignalRequest request;
    request.type = signals::SignalType::sweep;
    request.seconds = seconds;
    request.levelDbfs = -12.0;
    auto track = signals::makeSignal(request);
    REQUIRE(track);
    return std::move(*track);
}

/** Feeds pieces of 10 ms; returns the frame at which so many markers had been heard, or none. */
std::size_t frameWhenHeard(LiveMarker& marker, const std::vector<float>& samples, double sampleRate,
                           int numMarkers)
{
    const auto step = static_cast<std::size_t>(0.01 * sampleRate);
    for (std::size_t begin = 0; begin < samples.size(); begin += step) {
        const std::size_t count = std::min(step, samples.size() - begin);
        marker.process(std::span(samples).subspan(begin, count));
        if (marker.numMarkersHeard() >= numMarkers)
            return begin + count;
    }
    return 0;
}

} // namespace

TEST_CASE("Both markers are heard live, soon after the second ends, at any recorder rate",
          "[core][measure]")
{
    const auto track = sweepTrack(3.0);
    const test::SimulatedBike bike;
    const auto sound = bike.play(track.audio.channels.front(), 48000.0);
    const double recorderRate = GENERATE(44100.0, 48000.0, 96000.0);
    const double clockPpm = GENERATE(-500.0, 500.0);
    // Noise as strong as the sound itself; the markers' compression lifts them out of it.
    const auto recording = test::record(sound, 48000.0,
                                        {.sampleRate = recorderRate,
                                         .clockPpm = clockPpm,
                                         .startSeconds = 1.3,
                                         .endSeconds = 2.0,
                                         .noiseRms = test::activeRms(sound)});
    dsp::FftStore transforms;
    const auto truth =
        measure::findMarkers(recording, recorderRate, track.description, "take", transforms);
    REQUIRE(truth);
    const auto& layout = *track.description.sweepLayout;
    const double secondEnd = static_cast<double>(truth->firstFrame) + truth->spacingFrames
                             + layout.marker.durationSeconds * recorderRate;

    LiveMarker marker(track.description, recorderRate);
    const auto heard = static_cast<double>(frameWhenHeard(marker, recording, recorderRate, 2));
    REQUIRE(heard > 0.0);
    INFO("second marker ends at " << secondEnd << ", heard at " << heard);
    CHECK(heard >= secondEnd);
    CHECK(heard <= secondEnd + 0.34 * recorderRate);
    REQUIRE(marker.secondMarkerEndFrame());
    CHECK(static_cast<double>(*marker.secondMarkerEndFrame())
          == Approx(secondEnd).margin(0.001 * recorderRate));
}

TEST_CASE("One marker is reported as one until the other comes", "[core][measure]")
{
    const auto track = sweepTrack(3.0);
    const auto& samples = track.audio.channels.front();
    const auto& layout = *track.description.sweepLayout;
    LiveMarker marker(track.description, 48000.0);
    const auto first = frameWhenHeard(marker, samples, 48000.0, 1);
    CHECK(first > layout.firstMarkerFrame + 19200);
    CHECK(first < layout.sweepFrame);
    CHECK_FALSE(marker.secondMarkerEndFrame());
}

TEST_CASE("No markers are heard in noise, and no pair in another track", "[core][measure]")
{
    const auto track = sweepTrack(3.0);
    const auto other = sweepTrack(4.0);
    dsp::RandomSource random(3);
    std::vector<float> noise(60 * 48000);
    for (float& sample : noise)
        sample = static_cast<float>(0.1 * random.nextGaussian());
    LiveMarker inNoise(track.description, 48000.0);
    inNoise.process(noise);
    CHECK(inNoise.numMarkersHeard() == 0);
    LiveMarker inSilence(track.description, 48000.0);
    inSilence.process(std::vector<float>(480000, 0.0F));
    CHECK(inSilence.numMarkersHeard() == 0);
    LiveMarker inOther(track.description, 48000.0);
    CHECK(frameWhenHeard(inOther, other.audio.channels.front(), 48000.0, 2) == 0);
}

TEST_CASE("What is heard does not depend on how the stream is cut", "[core][measure]")
{
    const auto track = sweepTrack(1.0);
    auto samples = track.audio.channels.front();
    samples.resize(samples.size() + 48000, 0.0F);
    LiveMarker whole(track.description, 48000.0);
    whole.process(samples);
    REQUIRE(whole.secondMarkerEndFrame());
    LiveMarker cut(track.description, 48000.0);
    std::size_t begin = 0;
    for (std::size_t length = 0; begin < samples.size(); length = (length * 5 + 1) % 30000) {
        const std::size_t count = std::min(length, samples.size() - begin);
        cut.process(std::span(samples).subspan(begin, count));
        begin += count;
    }
    CHECK(cut.secondMarkerEndFrame() == whole.secondMarkerEndFrame());
}
