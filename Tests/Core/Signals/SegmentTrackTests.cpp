#include "Core/Signals/SegmentTrack.h"

#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <span>
#include <string>
#include <vector>

using namespace saddletone;
using signals::SegmentTrack;
using signals::SignalSegment;

namespace {

std::span<const float> whole(const SegmentTrack& track, const SignalSegment& segment)
{
    return std::span(track.audio.channels[segment.channel])
        .subspan(segment.firstFrame, segment.numFrames);
}

std::span<const float> held(const SegmentTrack& track, const SignalSegment& segment)
{
    return whole(track, segment)
        .subspan(segment.fadeFrames, segment.numFrames - 2 * segment.fadeFrames);
}

std::span<const float> evenPart(std::span<const float> samples)
{
    return samples.first(samples.size() / 2 * 2);
}

/** All that no segment covers is silent. */
bool silentBetween(const SegmentTrack& track)
{
    auto channels = track.audio.channels;
    for (const SignalSegment& segment : track.segments)
        std::fill_n(channels[segment.channel].begin()
                        + static_cast<std::ptrdiff_t>(segment.firstFrame),
                    segment.numFrames, 0.0F);
    const std::size_t end = track.periodFrames == 0 ? track.audio.numFrames() : track.periodFrames;
    return std::ranges::all_of(channels, [end](const std::vector<float>& samples) {
        return std::all_of(samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(end),
                           [](float sample) { return sample == 0.0F; });
    });
}

} // namespace

TEST_CASE("Warbles and steps go through the third octaves in order at one level", "[core][signals]")
{
    const test::ReferenceTable table("third_octave_bands.csv");
    const auto bands = dsp::octaveBands(3, 25.0, 16000.0);
    for (const double sampleRate : {44100.0, 96000.0})
        for (const bool warbles : {true, false}) {
            const SegmentTrack track =
                warbles ? signals::makeWarbleTrack(bands, 2.0, -20.0, sampleRate)
                        : signals::makeSteppedTrack(bands, 2.0, -20.0, sampleRate);
            REQUIRE(track.segments.size() == 29);
            CHECK(silentBetween(track));
            std::size_t frameBefore = 0;
            for (std::size_t index = 0; index < track.segments.size(); ++index) {
                const SignalSegment& segment = track.segments[index];
                const std::size_t row = index + 1; // the table starts at 20 Hz
                CAPTURE(segment.label);
                CHECK(segment.label == table.text(row, "nominal_hz") + " Hz");
                CHECK(segment.frequencyHz == Approx(table.number(row, "exact_hz")).epsilon(1e-4));
                CHECK(segment.numFrames == static_cast<std::size_t>(std::lround(2.0 * sampleRate)));
                CHECK(segment.firstFrame > frameBefore);
                frameBefore = segment.firstFrame + segment.numFrames;
                // The lowest held tones do not last whole cycles: 0.03 dB.
                CHECK(test::levelDbfs(held(track, segment)) == Approx(-20.0).margin(0.03));
                CHECK((segment.toHz > 0.0) == warbles);
            }
        }
}

TEST_CASE("Steps start and stop without a click", "[core][signals]")
{
    const SegmentTrack track =
        signals::makeSteppedTrack(dsp::octaveBands(3, 25.0, 16000.0), 2.0, -20.0, 48000.0);
    for (const SignalSegment& segment : track.segments) {
        CAPTURE(segment.label);
        // A click is wide-band: what lies three octaves up would stand out. Rounding to 32 bits
        // leaves -120 dB or so.
        const auto lines = test::lineSpectrum(evenPart(whole(track, segment)));
        const double binHz = 48000.0 / static_cast<double>(segment.numFrames / 2 * 2);
        const double all = test::powerBetween(lines, binHz, 0.0, 24000.0);
        if (8.0 * segment.frequencyHz < 20000.0) {
            const double clicks =
                test::powerBetween(lines, binHz, 8.0 * segment.frequencyHz, 24000.0);
            CHECK(10.0 * std::log10(clicks / all) < -100.0);
        }
    }
}

TEST_CASE("The gain set holds exact AES17 levels outside its fades, quiet ones first",
          "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 88200.0, 96000.0})
        for (const double seconds : {1.0, 1.23}) {
            const SegmentTrack track = signals::makeGainTrack(seconds, 0.0, sampleRate);
            REQUIRE(track.segments.size() == 6);
            CHECK(silentBetween(track));
            const std::vector<double> levels {-10.0, -5.0, 0.0, -10.0, -5.0, 0.0};
            for (std::size_t index = 0; index < 6; ++index) {
                const SignalSegment& segment = track.segments[index];
                CAPTURE(sampleRate, index);
                CHECK(segment.levelDbfs == levels[index]);
                const double frequencyHz = index < 3 ? 1000.0 : 40.0;
                CHECK(segment.frequencyHz == frequencyHz);
                const auto level = held(track, segment);
                CHECK(static_cast<double>(level.size()) / sampleRate
                      == Approx(seconds).margin(0.026));
                // Whole cycles, so that nothing but the rounding of 32 bits is left.
                CHECK(test::levelDbfs(level) == Approx(levels[index]).margin(1e-5));
                const double peak = static_cast<double>(
                    std::max(std::ranges::max(level), -std::ranges::min(level)));
                CHECK(peak <= 1.0);
                const std::vector<double> samples(level.begin(), level.end());
                CHECK(test::normalisedFrequencyOf(samples) * sampleRate
                      == Approx(frequencyHz).epsilon(1e-4));
                if (index > 0)
                    CHECK(segment.firstFrame >= track.segments[index - 1].firstFrame
                                                    + track.segments[index - 1].numFrames
                                                    + static_cast<std::size_t>(sampleRate));
            }
        }
}

TEST_CASE("One to four beeps name the speaker groups, left ones on the left", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0}) {
        const SegmentTrack track = signals::makeChannelTrack(44.0, -20.0, sampleRate);
        REQUIRE(track.audio.numChannels() == 2);
        CHECK(track.audio.numFrames() == 2 * track.periodFrames);
        CHECK(silentBetween(track));
        std::map<std::string, std::size_t> numBeeps;
        for (const SignalSegment& segment : track.segments) {
            ++numBeeps[segment.label];
            CHECK(segment.channel == (segment.label.find("left") != std::string::npos ? 0U : 1U));
            CHECK(test::levelDbfs(held(track, segment)) == Approx(-20.0).margin(0.001));
            // The other channel is silent meanwhile.
            const auto& other = track.audio.channels[1 - segment.channel];
            CHECK(std::all_of(
                other.begin() + static_cast<std::ptrdiff_t>(segment.firstFrame),
                other.begin() + static_cast<std::ptrdiff_t>(segment.firstFrame + segment.numFrames),
                [](float sample) { return sample == 0.0F; }));
        }
        CHECK(numBeeps
              == std::map<std::string, std::size_t> {
                  {"front left", 1}, {"front right", 2}, {"rear left", 3}, {"rear right", 4}});
        // Time to move the fader between front and rear, and back.
        const auto startSeconds = [&](std::size_t index) {
            return static_cast<double>(track.segments[index].firstFrame) / sampleRate;
        };
        CHECK(startSeconds(3) - startSeconds(2) > 5.0);
        CHECK(22.0 + startSeconds(0) - startSeconds(9) > 5.0);
        for (const auto& samples : track.audio.channels)
            CHECK(std::equal(samples.begin(),
                             samples.begin() + static_cast<std::ptrdiff_t>(track.periodFrames),
                             samples.begin() + static_cast<std::ptrdiff_t>(track.periodFrames)));
    }
}

TEST_CASE("The polarity track pulses twice a second, always upwards", "[core][signals]")
{
    const SegmentTrack track = signals::makePolarityTrack(3.0, -12.0, 48000.0);
    CHECK(track.periodFrames == 24000);
    CHECK(track.audio.numFrames() == 144000);
    const auto& samples = track.audio.channels[0];
    CHECK(std::ranges::min(samples) == 0.0F);
    const float highest = std::ranges::max(samples);
    CHECK(20.0 * std::log10(static_cast<double>(highest)) == Approx(-12.0).margin(1e-4));
    CHECK(std::ranges::count(samples, highest) == 6);
    CHECK(silentBetween(track));
}

TEST_CASE("A track that repeats is filled up to whole periods", "[core][signals]")
{
    CHECK(signals::makeChannelTrack(0.5, -20.0, 48000.0).audio.numFrames() == 22 * 48000);
    CHECK(signals::makeChannelTrack(22.0, -20.0, 48000.0).audio.numFrames() == 22 * 48000);
    CHECK(signals::makeChannelTrack(22.1, -20.0, 48000.0).audio.numFrames() == 44 * 48000);
}
