// Candidates that are put together from speaker groups.
#include "Core/Audition/CandidateKernels.h"
#include "Core/Audition/OfflineRender.h"
#include "Core/Audition/RoadAudibility.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/Units.h"
#include "Core/Seat/BinauralPlacement.h"
#include "Core/Seat/ChannelShare.h"
#include "Core/Tuning/Prediction.h"
#include "Support/AuditionFixtures.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using audition::CandidateRequest;
using Catch::Matchers::Contains;
using measure::GroupSum;
using measure::SpeakerGroup;
using tuning::OutputGroup;

namespace {

constexpr double sampleRate = 48000.0;
constexpr std::size_t maxTaps = 16384;
constexpr std::size_t kernelArrival = 72; // 1.5 ms

measure::Response groupState(SpeakerGroup speakers, std::vector<float> sound, double laterMs = 0.0)
{
    measure::Response response;
    response.name = std::string(measure::speakerGroupName(speakers));
    response.state.speakers = speakers;
    response.sampleRate = sampleRate;
    response.arrivalFrame = 2400;
    response.impulse.assign(2400, 0.0F);
    response.impulse.insert(response.impulse.end(), sound.begin(), sound.end());
    response.impulse.resize(12000, 0.0F);
    response.recordingChecksum = "cafe0123";
    response.trackStartSeconds = 1.0;
    response.arrivalSeconds = 3.0 + 0.001 * laterMs;
    return response;
}

CandidateRequest candidateOf(std::vector<measure::Response> states, GroupSum sum = GroupSum::timed)
{
    auto groups = measure::groupStates(std::move(states), sum);
    if (!groups)
        FAIL(groups.error().message);
    return audition::candidateOfGroups("four", *std::move(groups));
}

std::vector<float> click(float height)
{
    return {height};
}

tuning::Element element(tuning::ElementType type, double value = 0.0)
{
    tuning::Element made;
    made.type = type;
    if (type == tuning::ElementType::gain)
        made.gainDb = value;
    if (type == tuning::ElementType::delay)
        made.delayMs = value;
    return made;
}

std::vector<float> tapsOf(const CandidateRequest& candidate, OutputGroup side)
{
    auto taps = audition::buildKernelTaps(candidate, side, ride::Helmet::none, sampleRate, maxTaps);
    if (!taps)
        FAIL(taps.error().message);
    return *std::move(taps);
}

double magnitude(std::span<const float> taps, double frequencyHz)
{
    std::complex<double> sum;
    for (std::size_t tap = 0; tap < taps.size(); ++tap)
        sum += static_cast<double>(taps[tap])
               * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / sampleRate
                                     * static_cast<double>(tap));
    return std::abs(sum);
}

std::shared_ptr<const seat::ListenerSeat> binauralSeat()
{
    seat::SeatSettings settings;
    settings.isBinaural = true;
    auto seat = seat::loadListenerSeat(settings);
    REQUIRE(seat);
    return *std::move(seat);
}

std::vector<measure::Response> fourStates()
{
    return {groupState(SpeakerGroup::frontLeft, test::decayingNoise(6000, 1), 0.0),
            groupState(SpeakerGroup::frontRight, test::decayingNoise(6000, 2), 0.25),
            groupState(SpeakerGroup::rearLeft, test::decayingNoise(6000, 3), 0.5),
            groupState(SpeakerGroup::rearRight, test::decayingNoise(6000, 4), 1.0)};
}

} // namespace

TEST_CASE("Each side of a candidate is the sum of its groups at their times",
          "[core][audition][groups]")
{
    const auto states = fourStates();
    const CandidateRequest candidate = candidateOf(states);
    const std::array lateFrames {std::size_t {0}, std::size_t {12}, std::size_t {24},
                                 std::size_t {48}};
    for (const std::size_t side : {0U, 1U}) {
        // The slow reference: samples added at their frames, then the shelf of a whole bike.
        std::vector<double> expected(maxTaps, 0.0);
        for (std::size_t index = side; index < states.size(); index += 2)
            for (std::size_t frame = 2400; frame < states[index].impulse.size(); ++frame)
                expected[kernelArrival + lateFrames[index] + frame - 2400] +=
                    states[index].impulse[frame];
        seat::wholeOfShareInPlace(sampleRate, expected);
        const auto taps = tapsOf(candidate, side == 0 ? OutputGroup::left : OutputGroup::right);
        CHECK(test::relativeErrorDb(taps, expected) < -120.0);
    }
}

TEST_CASE("A whole of a share is the way back, six decibels up in the bass and three above",
          "[core][seat]")
{
    for (const double rate : {44100.0, 48000.0, 96000.0}) {
        std::vector<double> taps(8192, 0.0);
        taps[10] = 1.0;
        seat::wholeOfShareInPlace(rate, taps);
        const std::vector<float> whole(taps.begin(), taps.end());
        CHECK(dsp::amplitudeToDb(magnitude(whole, 40.0 * sampleRate / rate))
              == Approx(6.02).margin(0.05));
        CHECK(dsp::amplitudeToDb(magnitude(whole, 8000.0 * sampleRate / rate))
              == Approx(3.01).margin(0.05));
        seat::shareOfWholeInPlace(rate, taps);
        for (std::size_t tap = 0; tap < taps.size(); ++tap)
            CHECK(std::abs(taps[tap] - (tap == 10 ? 1.0 : 0.0)) < 1e-12);
    }
}

TEST_CASE("Two equal sides in four states are as loud as the bike measured at once",
          "[core][audition][groups]")
{
    // A bike whose sides add up in the bass as at the microphone: with one click a side, in phase.
    const CandidateRequest parts = candidateOf({groupState(SpeakerGroup::left, click(0.5F)),
                                                groupState(SpeakerGroup::right, click(0.5F))});
    const auto left = tapsOf(parts, OutputGroup::left);
    CHECK(magnitude(left, 50.0) == Approx(1.0).epsilon(0.01));
    CHECK(magnitude(left, 8000.0) == Approx(std::sqrt(0.5)).epsilon(0.01));
    // The sum as a microphone has it when all of them play.
    CHECK(parts.response.impulse[2400] == Approx(1.0F));
}

TEST_CASE("A delay of one group makes the comb that theory has", "[core][audition][groups]")
{
    CandidateRequest candidate = candidateOf({groupState(SpeakerGroup::front, click(0.5F)),
                                              groupState(SpeakerGroup::rear, click(0.5F))});
    candidate.tuning.chains = {{OutputGroup::rear, {element(tuning::ElementType::delay, 1.0)}}};
    const auto comb = tapsOf(candidate, OutputGroup::left);
    // |1 + exp(-j 2 pi f 1 ms)| / 2: nulls at odd multiples of 500 Hz, peaks between them.
    for (const double frequencyHz : {100.0, 250.0, 440.0, 1000.0, 1250.0, 3000.0, 7777.0})
        CHECK(magnitude(comb, frequencyHz)
              == Approx(std::abs(std::cos(std::numbers::pi * frequencyHz * 0.001))).margin(1e-4));
    for (const double frequencyHz : {500.0, 1500.0, 8500.0})
        CHECK(magnitude(comb, frequencyHz) < 1e-4);

    candidate.tuning.chains[0].elements.push_back(element(tuning::ElementType::polarity));
    const auto turned = tapsOf(candidate, OutputGroup::left);
    for (const double frequencyHz : {100.0, 500.0, 1000.0, 7777.0})
        CHECK(magnitude(turned, frequencyHz)
              == Approx(std::abs(std::sin(std::numbers::pi * frequencyHz * 0.001))).margin(1e-4));
}

TEST_CASE("With one group muted the others are heard alone", "[core][audition][groups]")
{
    const auto states = fourStates();
    CandidateRequest muted = candidateOf(states);
    // The lowest gain of an element three times: 120 dB down.
    muted.tuning.chains = {
        {OutputGroup::rear,
         {element(tuning::ElementType::gain, -40.0), element(tuning::ElementType::gain, -40.0),
          element(tuning::ElementType::gain, -40.0)}}};
    const CandidateRequest front = candidateOf({states[0], states[1]});
    for (const auto side : {OutputGroup::left, OutputGroup::right}) {
        const auto alone = tapsOf(front, side);
        CHECK(test::relativeErrorDb(tapsOf(muted, side),
                                    std::vector<double>(alone.begin(), alone.end()))
              < -115.0);
    }
}

TEST_CASE("Chains act on their own group, and on parts of a group they are refused",
          "[core][audition][groups]")
{
    const auto states = fourStates();
    const auto plain = tapsOf(candidateOf(states), OutputGroup::left);
    CandidateRequest tuned = candidateOf(states);
    tuned.tuning.chains = {{OutputGroup::frontRight, {element(tuning::ElementType::gain, 6.0)}}};
    CHECK(tapsOf(tuned, OutputGroup::left) == plain);
    CHECK(tapsOf(tuned, OutputGroup::right) != tapsOf(candidateOf(states), OutputGroup::right));

    // Front states of both sides stand for either side, as a response of the whole bike does.
    CandidateRequest axles = candidateOf({groupState(SpeakerGroup::front, click(1.0F)),
                                          groupState(SpeakerGroup::rear, click(0.0F))});
    axles.tuning.chains = {{OutputGroup::frontLeft, {element(tuning::ElementType::gain, 6.0)}}};
    CHECK(tapsOf(axles, OutputGroup::left)[kernelArrival]
          == Approx(dsp::dbToAmplitude(6.0)).epsilon(1e-5));
    CHECK(tapsOf(axles, OutputGroup::right)[kernelArrival] == Approx(1.0F));

    CandidateRequest sides = candidateOf({groupState(SpeakerGroup::left, click(1.0F)),
                                          groupState(SpeakerGroup::right, click(1.0F))});
    sides.tuning.chains = {{OutputGroup::rear, {element(tuning::ElementType::gain, 6.0)}}};
    const auto refused = audition::checkTuning(sides);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().message, Contains("'rear'"));

    // A single state of a group has the group's chains as well.
    CandidateRequest single {"front", groupState(SpeakerGroup::front, click(1.0F)), {}};
    single.tuning.chains = {{OutputGroup::front, {element(tuning::ElementType::gain, 6.0)}},
                            {OutputGroup::rear, {element(tuning::ElementType::gain, 12.0)}}};
    CHECK(tapsOf(single, OutputGroup::right)[kernelArrival]
          == Approx(dsp::dbToAmplitude(6.0)).epsilon(1e-5));
}

TEST_CASE("A rear group is heard from behind, a front group from ahead, each at its own side",
          "[core][audition][groups][seat]")
{
    // Only one of the four sounds: what is heard is its own way to the ears.
    constexpr std::array groups {SpeakerGroup::frontLeft, SpeakerGroup::frontRight,
                                 SpeakerGroup::rearLeft, SpeakerGroup::rearRight};
    const auto seat = binauralSeat();
    const auto filters = seat::SeatFilters::make(seat, sampleRate);
    REQUIRE(filters);
    const auto model = seat::HeadModel::fromContent(*seat->head, seat->headSource, sampleRate);
    REQUIRE(model);
    const seat::BinauralPlacement placement(*model, {});
    for (const SpeakerGroup sounding : groups) {
        CAPTURE(measure::speakerGroupName(sounding));
        std::vector<measure::Response> states;
        for (const SpeakerGroup group : groups)
            states.push_back(groupState(group, click(group == sounding ? 1.0F : 0.0F)));
        const CandidateRequest candidate = candidateOf(states);
        const auto sides =
            audition::buildSideTaps(candidate, ride::Helmet::none, sampleRate, maxTaps);
        REQUIRE(sides);
        const auto kernels =
            audition::buildEarKernels(candidate, *sides, ride::Helmet::none, **filters);
        REQUIRE(kernels);

        const bool isLeft = measure::isLeftSide(sounding);
        const bool isRear =
            sounding == SpeakerGroup::rearLeft || sounding == SpeakerGroup::rearRight;
        const seat::Direction direction {(isRear ? 145.0 : 25.0) * (isLeft ? 1.0 : -1.0),
                                         isRear ? -35.0 : -30.0};
        const auto expected = placement.filters(direction);
        REQUIRE(expected);
        const std::size_t channel = isLeft ? 0 : 1;
        for (const std::size_t ear : {seat::leftEar, seat::rightEar}) {
            std::vector<double> reference(maxTaps, 0.0);
            std::ranges::copy(expected->taps[ear], reference.begin() + kernelArrival);
            CHECK(test::relativeErrorDb((*kernels)[ear][channel], reference) < -100.0);
            CHECK(std::ranges::all_of((*kernels)[ear][1 - channel],
                                      [](float tap) { return tap == 0.0F; }));
        }
        // libmysofa's own filters of the direction say how much later the far ear hears it.
        const auto measured = model->at(direction);
        REQUIRE(measured);
        const auto arrivalOf = [&](std::size_t ear) {
            const auto& taps = (*kernels)[ear][channel];
            float highest = 0.0F;
            for (const float tap : taps)
                highest = std::max(highest, std::abs(tap));
            return std::ranges::find_if(taps,
                                        [&](float tap) { return std::abs(tap) >= 0.1F * highest; })
                   - taps.begin();
        };
        const std::size_t near = isLeft ? seat::leftEar : seat::rightEar;
        CHECK(static_cast<double>(arrivalOf(1 - near) - arrivalOf(near))
              == Approx(measured->arrivalFrames[1 - near] - measured->arrivalFrames[near])
                     .margin(2.0));
        CHECK(arrivalOf(1 - near) > arrivalOf(near) + 5);
    }
}

TEST_CASE("What is predicted of groups is what is heard of them", "[core][audition][groups]")
{
    const auto states = fourStates();
    tuning::Tuning tuning;
    tuning.name = "rear later";
    tuning.chains = {{OutputGroup::rearLeft, {element(tuning::ElementType::delay, 2.0)}},
                     {OutputGroup::rear, {element(tuning::ElementType::gain, -4.0)}},
                     {OutputGroup::frontRight, {element(tuning::ElementType::polarity)}}};
    const auto groups = measure::groupStates(states, GroupSum::timed);
    REQUIRE(groups);
    const auto predicted = tuning::predictResponse(**groups, tuning);
    REQUIRE(predicted);
    CHECK_THAT(predicted->remarks.back(), Contains("Predicted"));
    // The slow reference: each group's taps with its own gain, sign and delay.
    std::vector<double> expected(predicted->impulse.size(), 0.0);
    const std::array<double, 4> gains {1.0, -1.0, dsp::dbToAmplitude(-4.0),
                                       dsp::dbToAmplitude(-4.0)};
    const std::array<std::size_t, 4> late {0, 12, 24 + 96, 48};
    for (std::size_t index = 0; index < states.size(); ++index)
        for (std::size_t frame = 0; frame < states[index].impulse.size(); ++frame)
            if (frame + late[index] < expected.size())
                expected[frame + late[index]] += gains[index] * states[index].impulse[frame];
    CHECK(test::relativeErrorDb(predicted->impulse, expected) < -100.0);

    // Third octaves at the head: both channels' power, each through its own side.
    CandidateRequest candidate = audition::candidateOfGroups("four", *groups);
    candidate.tuning = tuning;
    const auto gain = audition::candidateGainDb(candidate, ride::Helmet::none, 0.0);
    const auto left = tapsOf(candidate, OutputGroup::left);
    const auto right = tapsOf(candidate, OutputGroup::right);
    measure::Response kernel;
    kernel.sampleRate = sampleRate;
    const std::vector<double> bandHz {1000.0};
    double power = 0.0;
    for (const auto& taps : {left, right}) {
        kernel.impulse = taps;
        power += 0.5 * dsp::dbToPower(kernel.magnitudeDb(bandHz, 3).front());
    }
    // Band 17 of the thirty from 20 Hz on is 1 kHz.
    CHECK(gain.levelsDb[17] == Approx(dsp::powerToDb(power)).margin(0.1));
}

TEST_CASE("What does not go together with groups is refused", "[core][audition][groups]")
{
    audition::SceneRequest request;
    request.candidates = {candidateOf(fourStates())};
    const auto layout = audition::PartitionLayout::forTaps(8000);
    auto model = std::make_shared<measure::HammersteinModel>();
    model->kernels[0].assign(9600, 0.0F);
    model->kernels[0][1440] = 1.0F;
    model->kernels[1] = model->kernels[0];
    for (auto& kernel : model->kernels)
        kernel.resize(9600, 0.0F);
    model->arrivalFrame = 1440;
    model->takes = {{"loud", 0.0, false}, {"soft", -6.0, false}};
    model->orders = {{2, {{40.0, 8000.0}}, 0.1, "order 2"}};
    request.candidates[0].overdrive = model;
    const auto overdriven = audition::buildScene(request, layout, sampleRate);
    REQUIRE_FALSE(overdriven);
    CHECK_THAT(overdriven.error().message, Contains("'four'") && Contains("overdrive"));

    request.candidates[0].overdrive = nullptr;
    auto dependence = std::make_shared<audition::SpeedDependence>();
    dependence->volume.states = {{0.0, "a.json"}};
    dependence->states = {request.candidates[0].response};
    request.candidates[0].atSpeed = dependence;
    const auto following = audition::buildScene(request, layout, sampleRate);
    REQUIRE_FALSE(following);
    CHECK_THAT(following.error().message, Contains("follow the speed"));
}
