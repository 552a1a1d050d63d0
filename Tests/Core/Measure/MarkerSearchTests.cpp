#include "Core/Measure/MarkerSearch.h"

#include "Support/SimulatedBike.h"

#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE(
    "The clock ratio is found to 0.5 ppm at 40 dB signal-to-noise, and to 0.02 ppm without noise",
    "[core][measure]")
{
    signals::SignalRequest request;
    request.type = signals::SignalType::sweep;
    request.seconds = 10.0;
    request.levelDbfs = -12.0;
    const auto track = signals::makeSignal(request);
    REQUIRE(track);
    const test::SimulatedBike bike;
    const auto sound = bike.play(track->audio.channels.front(), 48000.0);
    const double noiseRms = test::activeRms(sound) * 0.01;
    for (const double clockPpm : {-500.0, -0.7, 88.8, 500.0})
        for (const double rms : {0.0, noiseRms}) {
            const auto recording = test::record(sound, 48000.0,
                                                {.sampleRate = 44100.0,
                                                 .clockPpm = clockPpm,
                                                 .startSeconds = 2.2,
                                                 .noiseRms = rms});
            dsp::FftStore transforms;
            const auto markers =
                measure::findMarkers(recording, 44100.0, track->description, "take", transforms);
            REQUIRE(markers);
            INFO("true " << clockPpm << ", found " << markers->clockPpm);
            CHECK(markers->clockPpm == Approx(clockPpm).margin(rms > 0.0 ? 0.5 : 0.02));
            CHECK(std::abs(markers->levelChangeDb) < 0.1);
        }
}
