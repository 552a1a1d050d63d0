// Listening over the bike's own speakers: the difference from what it plays now, and nothing else.
#include "Core/Audition/OnThisBike.h"

#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/OfflineRender.h"
#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Seat/SpectrumShape.h"
#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"
#include "Support/LockCounter.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <string>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using audition::LevelMatch;
using audition::SceneRequest;

namespace {

constexpr double rate = 48000.0;

measure::Response bike(std::uint64_t seed)
{
    measure::Response response;
    response.impulse.assign(9600, 0.0F);
    response.arrivalFrame = 4800;
    response.impulse[4800] = 0.3F;
    const auto tail = test::decayingNoise(4000, seed);
    for (std::size_t tap = 0; tap < tail.size(); ++tap)
        response.impulse[4850 + tap] += 0.1F * tail[tap];
    return response;
}

tuning::Element peaking(double frequencyHz, double gainDb)
{
    tuning::Element element;
    element.type = tuning::ElementType::peaking;
    element.frequencyHz = frequencyHz;
    element.gainDb = gainDb;
    element.q = 0.7;
    return element;
}

tuning::Tuning tuningOf(std::vector<tuning::Element> elements)
{
    tuning::Tuning tuning;
    tuning.chains = {{tuning::OutputGroup::all, std::move(elements)}};
    return tuning;
}

/** The bike as it is, which is what it plays now, and with a tuning. */
SceneRequest twoCandidates(tuning::Tuning tuning)
{
    SceneRequest request;
    request.candidates = {{"stock", bike(7), {}}, {"tuned", bike(7), std::move(tuning)}};
    request.nowOnBike =
        std::make_shared<const audition::CandidateRequest>(request.candidates.front());
    return request;
}

/** The programme at the level of the file, no ceiling in its way. */
AuditionEngine::Parameters atFullLevel(std::size_t candidate)
{
    AuditionEngine::Parameters parameters;
    parameters.candidate = candidate;
    parameters.outputLevelDb = 0.0;
    parameters.ceilingDbfs = 0.0;
    return parameters;
}

dsp::AudioBuffer noise(double sampleRate, double rms = 0.03, std::size_t numFrames = 20000)
{
    return {sampleRate,
            {test::gaussianNoise(numFrames, rms, 2), test::gaussianNoise(numFrames, rms, 3)}};
}

std::vector<std::vector<float>> heard(const SceneRequest& request,
                                      const AuditionEngine::Parameters& parameters,
                                      const dsp::AudioBuffer& programme,
                                      std::size_t blockFrames = 512)
{
    const auto rendering = audition::renderAudition(request, programme, test::promptSettings(),
                                                    parameters, blockFrames);
    REQUIRE(rendering);
    return rendering->audio.channels;
}

/** Levels of third octaves from 31.5 Hz to 16 kHz. */
std::vector<double> bandLevels(const std::vector<double>& taps)
{
    constexpr std::size_t size = 1U << 17U;
    auto power = seat::magnitudesOf(taps, size);
    for (double& value : power)
        value *= value;
    std::vector<double> levels;
    for (const double band :
         dsp::bandPowers(power, rate / size, dsp::octaveBands(3, 31.5, 16500.0)))
        levels.push_back(dsp::powerToDb(band));
    return levels;
}

} // namespace

TEST_CASE("What the bike plays now lets the programme pass unchanged", "[core][audition][bike]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    CAPTURE(sampleRate);
    const auto programme = noise(sampleRate);
    const auto request = twoCandidates(tuningOf({peaking(80.0, 6.0)}));
    const auto output = heard(request, atFullLevel(0), programme);
    for (std::size_t ear = 0; ear < 2; ++ear)
        // Rounding of the convolution in single precision.
        CHECK(test::largestDifference(output[ear], programme.channels[ear]) < 1e-6);
    // The level of the output is the only gain.
    AuditionEngine::Parameters quieter = atFullLevel(0);
    quieter.outputLevelDb = -20.0;
    auto expected = programme.channels[0];
    for (float& sample : expected)
        sample *= 0.1F;
    CHECK(test::largestDifference(heard(request, quieter, programme)[0], expected) < 1e-6);
    // A tuning that the bike has now is not applied once more.
    SceneRequest hasTuning = request;
    hasTuning.nowOnBike = std::make_shared<const audition::CandidateRequest>(request.candidates[1]);
    CHECK(test::largestDifference(heard(hasTuning, atFullLevel(1), programme)[1],
                                  programme.channels[1])
          < 1e-6);
}

TEST_CASE("Through the bike as it is another candidate sounds as itself", "[core][audition][bike]")
{
    const auto request =
        twoCandidates(tuningOf({peaking(80.0, 6.0), peaking(900.0, -5.0), peaking(4000.0, 7.0)}));
    dsp::AudioBuffer click {rate, {std::vector<float>(32768, 0.0F)}};
    click.channels[0][0] = 0.1F;
    const auto sent = heard(request, atFullLevel(1), click);
    constexpr std::size_t maxTaps = 32640;
    for (std::size_t side = 0; side < 2; ++side) {
        const auto group = side == 0 ? tuning::OutputGroup::left : tuning::OutputGroup::right;
        const auto now = audition::buildKernelTaps(request.candidates[0], group, ride::Helmet::none,
                                                   rate, maxTaps);
        const auto wanted = audition::buildKernelTaps(request.candidates[1], group,
                                                      ride::Helmet::none, rate, maxTaps);
        REQUIRE(now);
        REQUIRE(wanted);
        std::vector<double> filter(sent[side].begin(), sent[side].end());
        for (double& tap : filter)
            tap *= 10.0;
        const std::vector<double> there(now->begin(), now->end());
        const auto found = bandLevels(dsp::convolve(there, filter));
        const auto expected = bandLevels({wanted->begin(), wanted->end()});
        for (std::size_t band = 0; band < found.size(); ++band) {
            CAPTURE(band);
            // 0.5 dB: what a sixth of an octave smooths, as in the tests of the difference.
            CHECK(found[band] == Approx(expected[band]).margin(0.5));
        }
    }
}

TEST_CASE("Ride, helmet, headphones, placement and overdrive do not reach the bike's speakers",
          "[core][audition][bike]")
{
    const auto programme = noise(rate);
    const auto request = twoCandidates(tuningOf({peaking(80.0, 6.0)}));
    const auto plain = heard(request, atFullLevel(1), programme);

    SceneRequest other = request;
    other.ride.parameters.helmet = ride::Helmet::fullFace;
    other.equaliserSpeedKmh = 120.0;
    seat::ListenerSeat corrected;
    corrected.headphone =
        files::FrequencyTable {{50.0, 1000.0, 5000.0, 12000.0}, {4.0, 0.0, 5.0, 0.0}, {}};
    corrected.headphoneSource = "made up";
    other.seat = std::make_shared<const seat::ListenerSeat>(corrected);
    AuditionEngine::Parameters parameters = atFullLevel(1);
    parameters.ride.speedKmh = 120.0;
    parameters.ride.earPlugs = ride::EarPlugs::nominal;
    parameters.volumeDb = 10.0;
    // So known a headphone would hold this programme far down.
    parameters.headphoneSplAtFullScaleDb = 140.0;
    parameters.ceilingDba = 60.0;
    for (const auto monitor : {audition::Monitor::programmeAndNoise,
                               audition::Monitor::programmeOnly, audition::Monitor::noiseOnly}) {
        parameters.monitor = monitor;
        CHECK(heard(other, parameters, programme) == plain);
    }
    const auto scene = audition::buildScene(other, audition::PartitionLayout::forTaps(16384), rate);
    REQUIRE(scene);
    CHECK(scene->isOnThisBike());
    CHECK(scene->seatFilters == nullptr);
    for (const auto& candidate : scene->candidates) {
        CHECK(candidate.nonlinear == nullptr);
        CHECK(candidate.kernels[0][1] == nullptr);
        CHECK(candidate.kernels[1][0] == nullptr);
        // Two scenes of it differ by filters of minimum phase: no swell at a switch.
        CHECK(candidate.kinship == scene->candidates.front().kinship);
    }
    const auto levels = audition::levelsOf(*scene, scene->candidates[1], parameters);
    CHECK(levels.noise.totalDba == dsp::silenceDb);
    CHECK(levels.radioGainDb == 0.0);
    // Bypass is the programme itself.
    parameters.monitor = audition::Monitor::untouched;
    CHECK(test::largestDifference(heard(other, parameters, programme)[0], programme.channels[0])
          < 1e-6);
}

TEST_CASE("Boost on the bike stays within its limit, and the ceiling holds what comes of it",
          "[core][audition][bike]")
{
    const auto request = twoCandidates(tuningOf({peaking(100.0, 20.0)}));
    const auto programme = noise(rate, 0.3);
    AuditionEngine::Parameters parameters = atFullLevel(1);
    parameters.ceilingDbfs = -6.0;
    const auto rendering =
        audition::renderAudition(request, programme, test::promptSettings(), parameters);
    REQUIRE(rendering);
    REQUIRE(rendering->onThisBike);
    CHECK(rendering->onThisBike->highestGainDb <= 12.0);
    CHECK(rendering->onThisBike->highestGainDb > 11.5);
    CHECK(rendering->onThisBike->limitedProportion > 0.05);
    CHECK_FALSE(rendering->onThisBike->isUnchanged);
    for (const auto& ear : rendering->audio.channels)
        for (const float sample : ear)
            REQUIRE(std::abs(sample) <= 0.5013F); // -6 dBFS and rounding
}

TEST_CASE("On the bike equal loudness takes down and never raises", "[core][audition][bike]")
{
    SceneRequest request = twoCandidates(tuningOf({peaking(1000.0, 8.0)}));
    request.candidates.push_back({"dull", bike(7), tuningOf({peaking(3000.0, -8.0)})});
    const auto scene =
        audition::buildScene(request, audition::PartitionLayout::forTaps(16384), rate);
    REQUIRE(scene);
    AuditionEngine::Parameters parameters;
    parameters.outputLevelDb = -10.0;
    std::vector<double> loudness;
    for (const auto match : {LevelMatch::asOnTheBike, LevelMatch::equalLoudness}) {
        parameters.match = match;
        double highestDb = -400.0;
        for (const auto& candidate : scene->candidates) {
            const auto levels = audition::levelsOf(*scene, candidate, parameters);
            highestDb = std::max(highestDb, levels.programmeGainDb);
            if (match == LevelMatch::asOnTheBike) {
                CHECK(levels.programmeGainDb == -10.0);
            } else {
                loudness.push_back(levels.programmeGainDb - candidate.matchGainDb);
            }
        }
        CHECK(highestDb == -10.0);
    }
    // What is left of the gains is the same for all: they are equally loud.
    for (const double each : loudness)
        CHECK(each == Approx(loudness.front()));
    CHECK(scene->candidates[1].matchGainDb < -1.0);
    CHECK(scene->candidates[2].matchGainDb > 1.0);
}

TEST_CASE("Calibrations of two recordings are part of the difference", "[core][audition][bike]")
{
    SceneRequest request;
    request.candidates = {{"stock", bike(7), {}}, {"louder", bike(7), {}}};
    for (auto& candidate : request.candidates) {
        candidate.response.hasCalibration = true;
        candidate.response.calibration = {94.0, -20.0};
    }
    // The same samples of a recorder whose full scale stands for 5 dB more: a louder bike.
    request.candidates[1].response.calibration.toneDbfs = -25.0;
    request.nowOnBike =
        std::make_shared<const audition::CandidateRequest>(request.candidates.front());
    const auto scene =
        audition::buildScene(request, audition::PartitionLayout::forTaps(16384), rate);
    REQUIRE(scene);
    CHECK(scene->candidates[1].onThisBike->highestGainDb == Approx(5.0).margin(0.05));
    CHECK(scene->candidates[1].level.splDba - scene->candidates[0].level.splDba
          == Approx(5.0).margin(0.05));
    CHECK(scene->candidates[1].level.source == audition::LevelSource::measured);
    CHECK(scene->candidates[1].matchGainDb == Approx(-5.0).margin(0.05));
}

TEST_CASE("On the bike the output does not depend on how the stream is cut, and the audio thread "
          "asks nothing of the heap",
          "[core][audition][bike]")
{
    const auto request = twoCandidates(tuningOf({peaking(80.0, 6.0), peaking(2500.0, -4.0)}));
    const auto programme = noise(rate);
    CHECK(heard(request, atFullLevel(1), programme, 512)
          == heard(request, atFullLevel(1), programme, 37));

    AuditionEngine engine({});
    engine.prepare({.sampleRate = rate});
    auto onBike = audition::buildScene(request, engine.layout(), rate);
    SceneRequest overHeadphones = request;
    overHeadphones.nowOnBike = nullptr;
    auto atEars = audition::buildScene(overHeadphones, engine.layout(), rate);
    REQUIRE(onBike);
    REQUIRE(atEars);
    AuditionEngine::Parameters parameters = atFullLevel(1);
    parameters.headphoneSplAtFullScaleDb = 110.0;
    engine.setParameters(parameters);
    engine.publish(std::make_unique<audition::AuditionScene>(*std::move(atEars)));
    engine.reset();
    const test::Stereo input {programme.channels[0], programme.channels[1]};
    test::Stereo output;
    for (auto& ear : output)
        ear.reserve(input[0].size());
    constexpr std::array<std::size_t, 3> blocks {512, 64, 33};
    const dsp::ScopedFlushDenormals flush;
    test::runEngineOver(engine, input, 0, 4000, blocks, output);
    engine.publish(std::make_unique<audition::AuditionScene>(*std::move(onBike)));
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    test::runEngineOver(engine, input, 4000, 12000, blocks, output);
    parameters.match = LevelMatch::equalLoudness;
    parameters.candidate = 0;
    engine.setParameters(parameters);
    test::runEngineOver(engine, input, 12000, input[0].size(), blocks, output);
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
    // The level at the ear is not known any more.
    CHECK(engine.earLevelDba() == static_cast<float>(dsp::silenceDb));
    CHECK(engine.guardGain() == 1.0F);
}

TEST_CASE("A bike or a candidate of which nothing is heard is refused by name",
          "[core][audition][bike]")
{
    SceneRequest request = twoCandidates({});
    request.candidates[1].name = "mute";
    std::ranges::fill(request.candidates[1].response.impulse, 0.0F);
    const auto layout = audition::PartitionLayout::forTaps(16384);
    const auto refused = audition::buildScene(request, layout, rate);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().message.find("'mute'") != std::string::npos);
    CHECK(refused.error().message.find("'stock'") != std::string::npos);
    CHECK(refused.error().message.find("silent") != std::string::npos);
    SceneRequest unmeasured = twoCandidates({});
    unmeasured.candidates[1].response.impulse.clear();
    CHECK_FALSE(audition::buildScene(unmeasured, layout, rate));
}
