#include "Core/Measure/DropoutSearch.h"

#include "Support/SimulatedBike.h"
#include "Support/SweepTakes.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

using namespace saddletone;
using Catch::Contains;
using measure::findDropouts;
using measure::FoundDropout;

namespace {

constexpr double sampleRate = 48000.0;

std::vector<float> sine(double frequencyHz, double amplitude, std::size_t numFrames)
{
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] = static_cast<float>(amplitude
                                            * std::sin(2.0 * std::numbers::pi * frequencyHz
                                                           * static_cast<double>(frame) / sampleRate
                                                       + 0.3));
    return samples;
}

void roundTo16Bits(std::vector<float>& samples)
{
    for (float& sample : samples)
        sample = std::round(sample * 32768.0F) / 32768.0F;
}

void silence(std::vector<float>& samples, std::size_t begin, std::size_t numFrames)
{
    std::fill_n(samples.begin() + static_cast<std::ptrdiff_t>(begin), numFrames, 0.0F);
}

} // namespace

TEST_CASE("Sound without a gap has no dropout, however coarse its steps", "[core][measure]")
{
    for (const double frequencyHz : {20.0, 31.5, 100.0, 1000.0, 7993.0, 16000.0})
        for (const double amplitude : {0.0015, 0.01, 0.1, 0.9}) {
            CAPTURE(frequencyHz, amplitude);
            auto samples = sine(frequencyHz, amplitude, 20000);
            CHECK(findDropouts(samples, sampleRate).empty());
            roundTo16Bits(samples);
            CHECK(findDropouts(samples, sampleRate).empty());
        }
}

TEST_CASE("Lost sound is found with its place and length", "[core][measure]")
{
    for (const double frequencyHz : {20.0, 100.0, 1000.0, 12000.0})
        for (const std::size_t numLost :
             {std::size_t {48}, std::size_t {512}, std::size_t {4800}}) {
            CAPTURE(frequencyHz, numLost);
            auto samples = sine(frequencyHz, 0.2, 30000);
            silence(samples, 10007, numLost);
            CHECK(findDropouts(samples, sampleRate)
                  == std::vector<FoundDropout> {{10007, numLost}});

            // A device that repeats its last sample. A wave of 20 Hz hardly moves in a
            // millisecond, which then does no harm either.
            if (frequencyHz < 50.0 && numLost < 100)
                continue;
            auto held = sine(frequencyHz, 0.2, 30000);
            std::fill_n(held.begin() + 10007, numLost, held[10006]);
            const auto found = findDropouts(held, sampleRate);
            REQUIRE(found.size() == 1);
            CHECK(found[0].beginFrame == 10006);
            CHECK(found[0].numFrames == numLost + 1);
        }
}

TEST_CASE("Two gaps are two dropouts, and silence around a sound is none", "[core][measure]")
{
    auto samples = sine(440.0, 0.3, 40000);
    silence(samples, 0, 5000);
    silence(samples, 12000, 200);
    silence(samples, 20000, 900);
    silence(samples, 35000, 5000);
    CHECK(findDropouts(samples, sampleRate)
          == std::vector<FoundDropout> {{12000, 200}, {20000, 900}});
    CHECK(findDropouts(std::vector<float>(1000, 0.0F), sampleRate).empty());
    CHECK(findDropouts({}, sampleRate).empty());
}

TEST_CASE("Gaps are found once wherever a long recording is cut for the search", "[core][measure]")
{
    // The search works on stretches of 2^17 samples.
    constexpr std::size_t cut = std::size_t {1} << 17U;
    const auto sound = sine(440.0, 0.3, 3 * cut);
    for (const std::size_t begin : {cut - 300, cut - 200, cut - 1, cut, cut + 1, cut - 10})
        for (const std::size_t numLost : {std::size_t {48}, std::size_t {200}, cut + 50}) {
            CAPTURE(begin, numLost);
            auto samples = sound;
            silence(samples, begin, numLost);
            CHECK(findDropouts(samples, sampleRate)
                  == std::vector<FoundDropout> {{begin, numLost}});
        }
}

TEST_CASE("A recording that lost sound within the sweep is refused with the time",
          "[core][measure]")
{
    const auto track = test::makeSweepTrack(4.0);
    const auto sound = test::SimulatedBike().play(track.audio.channels[0], sampleRate);
    auto whole = test::asRecording(sound, sampleRate);
    measure::MeasurementRequest request;
    request.track = track.description;
    request.recordings = {whole};
    REQUIRE(measure::measureResponse(request));

    auto& samples = request.recordings[0].audio.channels[0];
    const std::size_t lostAt = samples.size() / 2;
    std::fill_n(samples.begin() + static_cast<std::ptrdiff_t>(lostAt), 480, 0.0F);
    const auto refused = measure::measureResponse(request);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().code == dsp::ErrorCode::notTrustworthy);
    CHECK_THAT(refused.error().message,
               Contains("10 ms of sound are missing") && Contains("record"));
}
