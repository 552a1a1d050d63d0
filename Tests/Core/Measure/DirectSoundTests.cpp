#include "Core/Measure/DirectSound.h"

#include "Core/Measure/Measurement.h"
#include "Support/SweepTakes.h"

#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;

TEST_CASE("The polarity of a speaker is read off its direct sound", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto sound = test::SimulatedBike().play(track.audio.channels.front(), 48000.0);
    for (const double gain : {1.0, -1.0}) {
        const auto recording = test::record(
            sound, 48000.0, {.clockPpm = 50.0, .gain = gain, .noiseRms = 1e-3, .seed = 2});
        const auto response = test::measureTakes(track, {{"take.wav", {48000.0, {recording}}}});
        CAPTURE(gain, response.polarityReason);
        CHECK(response.polarity
              == (gain > 0.0 ? measure::Polarity::positive : measure::Polarity::negative));
        CHECK_THAT(response.polarityReason, Contains("degrees"));
    }
}

TEST_CASE("A quarter turn is neither polarity, and noise hides it", "[core][measure]")
{
    measure::Response response;
    response.impulse.assign(24000, 0.0F);
    response.arrivalFrame = 12000;
    SECTION("quarter turn")
    {
        // The Hilbert transform of an impulse: 2 / (pi n) at odd n.
        for (int n = -2001; n <= 2001; n += 2)
            response.impulse[static_cast<std::size_t>(12000 + n)] =
                static_cast<float>(2.0 / (3.14159265 * n));
        const auto direct = measure::findDirectSound(response);
        CHECK(direct.polarity == measure::Polarity::unclear);
        CHECK(std::abs(direct.phaseDegrees) == Approx(90.0).margin(3.0));
        CHECK_THAT(direct.reason, Contains("neither"));
    }
    SECTION("noise")
    {
        std::uint32_t state = 1;
        for (float& sample : response.impulse) {
            state = state * 1664525U + 1013904223U;
            sample = static_cast<float>(state >> 8U) * 0x1p-24F - 0.5F;
        }
        const auto direct = measure::findDirectSound(response);
        CHECK(direct.polarity == measure::Polarity::unclear);
        CHECK_FALSE(direct.reason.empty());
    }
    SECTION("nothing at all")
    {
        CHECK(measure::findDirectSound(response).polarity == measure::Polarity::unclear);
    }
}

TEST_CASE("In one recording the arrival of one speaker group is known against another's",
          "[core][measure]")
{
    // One file: the track twice, 16 s apart, the second time over a speaker 1.234 ms farther away.
    const auto track = test::makeSweepTrack(6.0);
    const double rate = 48000.0;
    const double apartSeconds = 16.0;
    const double laterSeconds = 0.001234;
    const auto sound = test::SimulatedBike().play(track.audio.channels.front(), rate);
    const auto apart = static_cast<std::size_t>(apartSeconds * rate);
    std::vector<double> first(apart + sound.size(), 0.0);
    std::copy(sound.begin(), sound.end(), first.begin());
    const test::RecorderModel early {.clockPpm = 80.0, .startSeconds = 1.0};
    const test::RecorderModel late {.clockPpm = 80.0,
                                    .startSeconds = 1.0 + apartSeconds + laterSeconds};
    auto recording = test::record(first, rate, early);
    const auto second = test::record(sound, rate, late);
    for (std::size_t frame = 0; frame < std::min(recording.size(), second.size()); ++frame)
        recording[frame] += second[frame];

    // Each group by itself: the half of the recording that holds it, silence instead of the other.
    const auto only = [&](std::size_t from, std::size_t to) {
        auto part = recording;
        for (std::size_t frame = 0; frame < part.size(); ++frame)
            if (frame < from || frame >= to)
                part[frame] = 0.0F;
        return test::measureTakes(track, {{"session.wav", {rate, {part}}}});
    };
    const auto middle = static_cast<std::size_t>(15.0 * rate);
    const auto front = only(0, middle);
    const auto rear = only(middle, recording.size());
    const auto difference = measure::arrivalDifferenceMs(front, rear, apartSeconds);
    REQUIRE(difference);
    CHECK(*difference == Approx(1.234).margin(0.005));

    measure::Response unknown = front;
    unknown.arrivalSeconds = 0.0;
    unknown.name = "imported";
    const auto refused = measure::arrivalDifferenceMs(unknown, rear, apartSeconds);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().message, Contains("imported") && Contains("arrived"));
}
