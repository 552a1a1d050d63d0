#include "Core/Measure/Deconvolution.h"

#include "Support/SweepTakes.h"

#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;

namespace {

signals::Signal trackOfRange(double fromHz, double toHz, double seconds)
{
    signals::SignalRequest request;
    request.type = signals::SignalType::sweep;
    request.seconds = seconds;
    request.levelDbfs = -12.0;
    request.fromHz = fromHz;
    request.toHz = toHz;
    auto signal = signals::makeSignal(request);
    REQUIRE(signal);
    return std::move(*signal);
}

measure::Recording recordOnBike(const signals::Signal& track, const test::RecorderModel& recorder)
{
    const test::SimulatedBike bike;
    const double rate = track.audio.sampleRate;
    return {"take.wav",
            {recorder.sampleRate,
             {test::record(bike.play(track.audio.channels.front(), rate), rate, recorder)}}};
}

} // namespace

TEST_CASE("Another range is told whichever of the two tracks was played", "[core][measure]")
{
    for (const double seconds : {6.0, 12.0}) {
        const auto wide = trackOfRange(20.0, 22000.0, seconds);
        for (const auto& other :
             {trackOfRange(100.0, 8000.0, seconds), trackOfRange(60.0, 4000.0, seconds),
              trackOfRange(20.0, 5000.0, seconds)})
            for (const bool wideIsPlayed : {true, false}) {
                measure::MeasurementRequest request;
                request.track = (wideIsPlayed ? other : wide).description;
                request.recordings = {recordOnBike(wideIsPlayed ? wide : other,
                                                   {.clockPpm = 30.0, .noiseRms = 1e-5})};
                const auto response = measure::measureResponse(request);
                INFO(seconds << " s, " << other.description.fromHz << " to "
                             << other.description.toHz << " Hz, wide played: " << wideIsPlayed);
                REQUIRE_FALSE(response);
                CHECK_THAT(response.error().message, Contains("wrong track"));
            }
    }
}

TEST_CASE("A recorder of twice or half the track's rate measures the same", "[core][measure]")
{
    // The recorder's own range ends the response; within it the bike is found as on the track's rate.
    const auto track = test::makeSweepTrack(8.0);
    for (const double rate : {96000.0, 24000.0}) {
        measure::MeasurementRequest request;
        request.track = track.description;
        request.recordings = {recordOnBike(
            track, {.sampleRate = rate, .clockPpm = -60.0, .startSeconds = 1.3, .noiseRms = 1e-5})};
        const auto response = measure::measureResponse(request);
        REQUIRE(response);
        CHECK(response->sampleRate == 48000.0);
        const double error = test::largestErrorDb(*response, 40.0, std::min(16000.0, 0.42 * rate));
        INFO(rate << " Hz: " << error << " dB");
        CHECK(error < 0.05);
    }
}

TEST_CASE("Takes of recorders with different rates are put together", "[core][measure]")
{
    const auto track = test::makeSweepTrack(8.0);
    measure::MeasurementRequest request;
    request.track = track.description;
    request.recordings = {
        recordOnBike(track, {.sampleRate = 44100.0, .clockPpm = 80.0, .noiseRms = 1e-5}),
        recordOnBike(track, {.clockPpm = -20.0, .noiseRms = 1e-5, .seed = 2})};
    const auto response = measure::measureResponse(request);
    REQUIRE(response);
    CHECK(response->numTakes == 2);
    CHECK(test::largestErrorDb(*response, 40.0, 16000.0) < 0.05);
}

TEST_CASE("The impulse's noise is given up to half the sample rate", "[core][measure]")
{
    CHECK(measure::impulseFftSize(48000.0) >= 45600);
    CHECK(measure::bandsBelowNyquist(24000.0).back().centreHz < 12000.0);
}
