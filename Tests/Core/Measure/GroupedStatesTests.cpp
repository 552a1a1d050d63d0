#include "Core/Measure/GroupedStates.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/SpeakerSet.h"
#include "Support/AuditionFixtures.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;
using measure::BikeChannel;
using measure::GroupSum;
using measure::Response;
using measure::SpeakerGroup;

namespace {

constexpr double sampleRate = 48000.0;

/** A group of one recording whose sound arrives some milliseconds after the track's place in it. */
Response groupState(SpeakerGroup speakers, std::uint64_t seed, double laterMs)
{
    Response response;
    response.name = std::string(measure::speakerGroupName(speakers));
    response.state.radioProfile = "Touring";
    response.state.speakers = speakers;
    response.sampleRate = sampleRate;
    response.impulse.assign(9600, 0.0F);
    response.arrivalFrame = 2400;
    const auto tail = test::decayingNoise(4000, seed);
    for (std::size_t tap = 0; tap < tail.size(); ++tap)
        response.impulse[2400 + tap] = tail[tap];
    response.recordingChecksum = "cafe0123";
    response.trackStartSeconds = 16.0 * static_cast<double>(seed);
    response.arrivalSeconds = 2.0 + *response.trackStartSeconds + 0.001 * laterMs;
    response.bands = {{1000.0, 0.0, 60.0, 0.1, true, 0.05, 0.2}};
    return response;
}

std::complex<double> spectrumAt(std::span<const float> impulse, double frequencyHz)
{
    std::complex<double> sum;
    for (std::size_t frame = 0; frame < impulse.size(); ++frame)
        sum += static_cast<double>(impulse[frame])
               * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / sampleRate
                                     * static_cast<double>(frame));
    return sum;
}

std::string refusalOf(std::vector<Response> states, GroupSum sum = GroupSum::timed)
{
    const auto groups = measure::groupStates(std::move(states), sum);
    REQUIRE_FALSE(groups);
    return groups.error().message;
}

} // namespace

TEST_CASE("Speakers of groups make up the smallest group that has them all", "[core][measure]")
{
    for (const SpeakerGroup group : measure::allSpeakerGroups)
        CHECK(measure::groupOf(measure::speakersOf(group)) == group);
    const auto together = [](SpeakerGroup one, SpeakerGroup other) {
        return measure::groupOf(measure::speakersOf(one) | measure::speakersOf(other));
    };
    CHECK(together(SpeakerGroup::frontLeft, SpeakerGroup::rearLeft) == SpeakerGroup::left);
    CHECK(together(SpeakerGroup::rearLeft, SpeakerGroup::rearRight) == SpeakerGroup::rear);
    CHECK(together(SpeakerGroup::frontLeft, SpeakerGroup::rearRight) == SpeakerGroup::all);
    CHECK(measure::groupOnChannel(SpeakerGroup::front, BikeChannel::right)
          == SpeakerGroup::frontRight);
    CHECK(measure::groupOnChannel(SpeakerGroup::all, BikeChannel::left) == SpeakerGroup::left);
    CHECK_FALSE(measure::groupOnChannel(SpeakerGroup::rearLeft, BikeChannel::right));
    CHECK(measure::speakersOnChannel(SpeakerGroup::rearLeft, BikeChannel::right)
          == SpeakerGroup::rearLeft);
}

TEST_CASE("Groups of one recording add up as complex responses at the times they arrive",
          "[core][measure]")
{
    // The second part's clock was read 0.4 ppm off: at its place in the recording that is 7 us.
    auto front = groupState(SpeakerGroup::front, 1, 0.0);
    auto rear = groupState(SpeakerGroup::rear, 2, 1.2345);
    const auto groups = measure::groupStates({front, rear}, GroupSum::timed);
    REQUIRE(groups);
    CHECK((*groups)->laterSeconds[0] == 0.0);
    CHECK((*groups)->laterSeconds[1] == Approx(0.0012345).margin(1e-9));
    CHECK((*groups)->speakers() == SpeakerGroup::all);
    CHECK((*groups)->words() == "front and rear");

    const Response sum = measure::responseOfGroups(**groups);
    CHECK(sum.arrivalFrame == 2400);
    CHECK(sum.state.speakers == SpeakerGroup::all);
    CHECK(sum.state.radioProfile == "Touring");
    for (const double frequencyHz : {40.0, 333.0, 1000.0, 5000.0, 15000.0}) {
        const auto expected =
            spectrumAt(front.impulse, frequencyHz)
            + spectrumAt(rear.impulse, frequencyHz)
                  * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz * 0.0012345);
        // The interpolation between frames is flat within 0.0015 dB.
        CHECK(std::abs(spectrumAt(sum.impulse, frequencyHz) - expected)
              < 3e-4
                    * (std::abs(spectrumAt(front.impulse, frequencyHz))
                       + std::abs(spectrumAt(rear.impulse, frequencyHz))));
    }
    // Equal powers, added with a random phase: errors of amplitude in quadrature.
    REQUIRE(sum.bands.size() == 1);
    CHECK(sum.bands[0].trusted);
    CHECK_THAT(sum.remarks.back(), Contains("front and rear") && Contains("one recording"));
}

TEST_CASE("The clock of the whole recording counts, not what each part reads of it",
          "[core][measure]")
{
    // Both parts see one recorder, 80 ppm fast, and one of them misreads it by 0.5 ppm, which is 9 us
    // at its place 18 s into the recording.
    auto front = groupState(SpeakerGroup::front, 0, 0.0);
    auto rear = groupState(SpeakerGroup::rear, 1, 0.0);
    const double frontRecorderSeconds = 2.0 * (1.0 + 80e-6);
    const double rearRecorderSeconds = (2.0 + 16.0 + 0.0007) * (1.0 + 80e-6);
    front.clockPpm = 80.0;
    rear.clockPpm = 80.5;
    front.arrivalSeconds = frontRecorderSeconds / (1.0 + 1e-6 * front.clockPpm);
    rear.arrivalSeconds = rearRecorderSeconds / (1.0 + 1e-6 * rear.clockPpm);
    const auto groups = measure::groupStates({front, rear}, GroupSum::timed);
    REQUIRE(groups);
    // Half of the misreading is left, over the 16 s between the tracks.
    CHECK((*groups)->laterSeconds[1] == Approx(0.0007).margin(16.0 * 0.26e-6));
}

TEST_CASE("A sum of powers has the power of its parts and the time of the first", "[core][measure]")
{
    auto front = groupState(SpeakerGroup::front, 1, 0.0);
    auto rear = groupState(SpeakerGroup::rear, 2, 0.0);
    rear.recordingChecksum = "another";
    for (float& tap : rear.impulse)
        tap *= 0.7F;
    const auto groups = measure::groupStates({front, rear}, GroupSum::power);
    REQUIRE(groups);
    const Response sum = measure::responseOfGroups(**groups);
    CHECK_THAT(sum.remarks.back(), Contains("estimate") && Contains("power"));
    const std::vector<double> thirds {100.0, 250.0, 500.0, 1000.0, 2500.0, 6300.0, 12500.0};
    const auto frontDb = front.magnitudeDb(thirds, 3);
    const auto rearDb = rear.magnitudeDb(thirds, 3);
    const auto sumDb = sum.magnitudeDb(thirds, 3);
    for (std::size_t band = 0; band < thirds.size(); ++band) {
        CAPTURE(thirds[band]);
        // The filter knows twelfths of an octave; within a third that leaves some tenths.
        CHECK(
            sumDb[band]
            == Approx(dsp::powerToDb(dsp::dbToPower(frontDb[band]) + dsp::dbToPower(rearDb[band])))
                   .margin(0.3));
    }
    const auto peak =
        std::ranges::max_element(sum.impulse, {}, [](float tap) { return std::abs(tap); });
    const auto frontPeak =
        std::ranges::max_element(front.impulse, {}, [](float tap) { return std::abs(tap); });
    CHECK(std::abs((peak - sum.impulse.begin()) - (frontPeak - front.impulse.begin())) <= 2);
}

TEST_CASE("Calibrated groups add up on one scale", "[core][measure]")
{
    auto front = groupState(SpeakerGroup::front, 1, 0.0);
    auto rear = groupState(SpeakerGroup::rear, 2, 0.0);
    front.hasCalibration = rear.hasCalibration = true;
    front.calibration = {.toneSplDb = 94.0, .toneDbfs = -20.0};
    rear.calibration = {.toneSplDb = 94.0, .toneDbfs = -14.0};
    const auto groups = measure::groupStates({front, rear}, GroupSum::timed);
    REQUIRE(groups);
    // 0 dBFS of the rear's recording is 6 dB less in pascals.
    CHECK((*groups)->states[1].impulse[2400]
          == Approx(rear.impulse[2400] * std::pow(10.0, -6.0 / 20.0)).epsilon(1e-5));
    CHECK((*groups)->states[1].calibration == front.calibration);
    CHECK((*groups)->states[1].bands[0].levelDb == Approx(-6.0));
}

TEST_CASE("States that do not fit together are refused with the reason", "[core][measure]")
{
    const auto front = groupState(SpeakerGroup::front, 1, 0.0);
    const auto rear = groupState(SpeakerGroup::rear, 2, 0.5);
    CHECK_THAT(refusalOf({front}), Contains("at least two"));
    CHECK_THAT(refusalOf({front, groupState(SpeakerGroup::frontLeft, 2, 0.0)}),
               Contains("heard twice") && Contains("front left"));
    CHECK_THAT(refusalOf({groupState(SpeakerGroup::all, 1, 0.0), rear}), Contains("heard twice"));

    auto other = rear;
    other.recordingChecksum = "another";
    CHECK_THAT(refusalOf({front, other}),
               Contains("nobody knows when") && Contains("'rear'") && Contains("--track-start"));
    CHECK(measure::groupStates({front, other}, GroupSum::power));
    other = rear;
    other.trackStartSeconds.reset();
    CHECK_THAT(refusalOf({front, other}), Contains("nobody knows when"));
    other = rear;
    other.arrivalSeconds = 0.0;
    CHECK_THAT(refusalOf({front, other}), Contains("nobody knows when"));
    other = rear;
    *other.trackStartSeconds -= 1.0;
    CHECK_THAT(refusalOf({front, other}), Contains("--track-start") && Contains("farther"));

    const auto refusedIfChanged = [&](auto&& change) {
        auto changed = rear;
        change(changed);
        const auto asPower = refusalOf({front, changed}, GroupSum::power);
        CHECK(refusalOf({front, changed}) == asPower);
        return asPower;
    };
    CHECK_THAT(refusedIfChanged([](Response& r) { r.state.radioProfile = "Stock"; }),
               Contains("radio profiles"));
    CHECK_THAT(refusedIfChanged([](Response& r) { r.state.engine = measure::EngineState::idle; }),
               Contains("engine"));
    CHECK_THAT(refusedIfChanged([](Response& r) { r.state.volumeStep = "12"; }),
               Contains("volume step"));
    CHECK_THAT(refusedIfChanged([](Response& r) { r.sampleRate = 44100.0; }),
               Contains("sample rate"));
    CHECK_THAT(refusedIfChanged([](Response& r) { r.hasCalibration = true; }),
               Contains("calibrated"));
    CHECK_THAT(refusedIfChanged([](Response& r) { r.impulse.clear(); }),
               Contains("no impulse response"));
}
