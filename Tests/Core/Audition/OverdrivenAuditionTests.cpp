// Overdriven speakers in an audition.
#include "Core/Audition/AuditionEngine.h"

#include "Core/Audition/NonlinearDesign.h"
#include "Core/Audition/OfflineRender.h"
#include "Core/Audition/OverdriveRender.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"
#include "Support/LockCounter.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using audition::AuditionEngine;
using audition::CandidateRequest;
using audition::Monitor;
using measure::HammersteinModel;
using test::Stereo;

namespace {

constexpr double sampleRate = 48000.0;
constexpr std::array<std::size_t, 4> unevenBlocks {64, 333, 1, 512};

/** Kernels that are single taps of the given heights, powers 1 to 5. */
HammersteinModel tapModel(std::array<float, 5> heights)
{
    HammersteinModel model;
    model.name = "bench";
    model.arrivalFrame = 1440;
    for (std::size_t power = 0; power < heights.size(); ++power) {
        model.kernels[power].assign(9600, 0.0F);
        model.kernels[power][model.arrivalFrame] = heights[power];
    }
    model.takes = {{"loud", 0.0, false}, {"soft", -6.0, false}};
    model.orders = {{2, {{40.0, 8000.0}}, 0.1, "order 2 from 40 Hz to 8000 Hz"}};
    return model;
}

/** Kernels that ring, with a filter ahead of the powers. */
HammersteinModel ringingModel()
{
    HammersteinModel model = tapModel({});
    for (std::size_t power = 0; power < model.kernels.size(); ++power) {
        const auto tail = test::decayingNoise(6000, power + 1);
        for (std::size_t tap = 0; tap < tail.size(); ++tap)
            model.kernels[power][model.arrivalFrame + tap] = tail[tap];
    }
    model.driveFilter = {{300.0, 0.7, 100.0, 0.9}};
    model.driveGainLinear = 0.5;
    return model;
}

/** The bike that a model is of. */
CandidateRequest candidateOf(const HammersteinModel& model, bool isOverdriven = true)
{
    CandidateRequest candidate;
    candidate.name = isOverdriven ? "overdriven" : "linear";
    candidate.response.sampleRate = model.sampleRate;
    candidate.response.impulse = model.kernels.front();
    candidate.response.arrivalFrame = model.arrivalFrame;
    if (isOverdriven)
        candidate.overdrive = std::make_shared<const HammersteinModel>(model);
    return candidate;
}

dsp::AudioBuffer noiseProgramme(std::size_t numFrames, double rms)
{
    return {sampleRate,
            {test::gaussianNoise(numFrames, rms, 7), test::gaussianNoise(numFrames, rms, 8)}};
}

audition::Rendering render(const CandidateRequest& candidate, const dsp::AudioBuffer& programme,
                           const AuditionEngine::Parameters& parameters)
{
    audition::SceneRequest scene;
    scene.candidates = {candidate};
    scene.ride.parameters.helmet = ride::Helmet::none;
    auto rendering = audition::renderAudition(scene, programme, test::promptSettings(), parameters);
    if (!rendering)
        FAIL(rendering.error().message);
    return *std::move(rendering);
}

/** A prepared engine that plays the first of some candidates. */
std::unique_ptr<AuditionEngine> engineOf(const std::vector<CandidateRequest>& candidates,
                                         const AuditionEngine::Parameters& parameters)
{
    auto engine = std::make_unique<AuditionEngine>(test::promptSettings());
    engine->setParameters(parameters);
    engine->prepare({.sampleRate = sampleRate});
    audition::SceneRequest request;
    request.candidates = candidates;
    auto scene = audition::buildScene(request, engine->layout(), sampleRate);
    if (!scene)
        FAIL(scene.error().message);
    engine->publish(std::make_unique<audition::AuditionScene>(*std::move(scene)));
    engine->reset();
    return engine;
}

/** Everything that may happen to an overdriven candidate, one after the other. */
void runThrough(AuditionEngine& engine, const Stereo& programme,
                std::span<const std::size_t> blocks, Stereo& output)
{
    AuditionEngine::Parameters parameters = test::programmeAlone();
    std::size_t done = 0;
    const auto runTo = [&](std::size_t frame) {
        test::runEngineOver(engine, programme, done, frame, blocks, output);
        done = frame;
    };
    const auto change = [&](std::size_t atFrame, auto&& what) {
        runTo(atFrame);
        what();
        engine.setParameters(parameters);
    };
    change(5003, [&] { parameters.candidate = 1; });
    change(9001, [&] { parameters.volumeDb = 5.0; });
    change(12345, [&] { parameters.overdriven = false; });
    change(17001, [&] { parameters.overdriven = true; });
    change(20011, [&] { parameters.candidate = 0; });
    change(20100, [&] { parameters.volumeDb = -3.0; });
    change(24001, [&] { parameters.candidate = 1; });
    runTo(programme[0].size());
}

/** Second harmonic of a sine of 1002 Hz re the sine, in dB. */
double secondHarmonicDb(const CandidateRequest& candidate,
                        const AuditionEngine::Parameters& parameters)
{
    constexpr std::size_t numFrames = 8192;
    constexpr std::size_t bin = 171;
    std::vector<float> sine(4 * numFrames);
    for (std::size_t frame = 0; frame < sine.size(); ++frame)
        sine[frame] = static_cast<float>(
            0.1
            * std::sin(2.0 * std::numbers::pi * static_cast<double>(bin * frame % numFrames)
                       / static_cast<double>(numFrames)));
    const auto rendering = render(candidate, {sampleRate, {sine}}, parameters);
    dsp::RealFft<double> fft(numFrames);
    const auto& left = rendering.audio.channels[0];
    std::copy(left.end() - static_cast<std::ptrdiff_t>(numFrames), left.end(), fft.time().begin());
    fft.forward();
    return dsp::amplitudeToDb(std::abs(fft.spectrum()[2 * bin]) / std::abs(fft.spectrum()[bin]));
}

HammersteinModel squareLaw()
{
    return tapModel({0.5F, 0.5F, 0.0F, 0.0F, 0.0F});
}

} // namespace

TEST_CASE("An audition of overdriven speakers is what renderOverdrive() makes",
          "[core][audition][overdrive]")
{
    // Powers and convolution round differently in the two, below -120 dB.
    const double volumeDb = GENERATE(0.0, 4.0, -6.0);
    // A state measured softer than the model's is driven as much softer.
    const double measuredDb = GENERATE(0.0, -6.0);
    CAPTURE(volumeDb, measuredDb);
    audition::NonlinearRequest request {.model = ringingModel()};
    request.volumeDb = volumeDb + measuredDb;
    request.tuning.chains = {
        {tuning::OutputGroup::all,
         {{.type = tuning::ElementType::lowShelf, .frequencyHz = 120.0, .gainDb = 6.0},
          {.type = tuning::ElementType::delay, .delayMs = 0.37}}}};
    const auto programme = noiseProgramme(40000, 0.1);
    const auto expected = audition::renderOverdrive(request, programme);
    REQUIRE(expected);
    CHECK(expected->branchDb > -45.0);

    CandidateRequest candidate = candidateOf(request.model);
    candidate.tuning = request.tuning;
    const double measured = dsp::dbToAmplitude(measuredDb);
    for (float& tap : candidate.response.impulse)
        tap = static_cast<float>(measured * static_cast<double>(tap));
    auto parameters = test::programmeAlone();
    parameters.volumeDb = volumeDb;
    parameters.outputLevelDb = -30.0;
    const auto rendering = render(candidate, programme, parameters);
    const double gain = measured * dsp::dbToAmplitude(rendering.levels.programmeGainDb);
    for (std::size_t ear = 0; ear < audition::numEars; ++ear) {
        std::vector<double> scaled;
        for (const float sample : expected->audio.channels[ear])
            scaled.push_back(gain * static_cast<double>(sample));
        CHECK(test::relativeErrorDb(rendering.audio.channels[ear], scaled) < -100.0);
    }
}

TEST_CASE("Without a supported model, or switched off, an audition is linear to the bit",
          "[core][audition][overdrive]")
{
    const auto programme = noiseProgramme(20000, 0.1);
    const HammersteinModel model = ringingModel();
    const auto parameters = test::programmeAlone();
    const auto linear = render(candidateOf(model, false), programme, parameters);
    HammersteinModel silent = model;
    silent.orders.front().ranges.clear();
    CHECK(render(candidateOf(silent), programme, parameters).audio.channels
          == linear.audio.channels);
    auto off = parameters;
    off.overdriven = false;
    CHECK(render(candidateOf(model), programme, off).audio.channels == linear.audio.channels);
    const auto overdriven = render(candidateOf(model), programme, parameters);
    CHECK(overdriven.audio.channels != linear.audio.channels);
    CHECK(overdriven.levels.programmeGainDb == linear.levels.programmeGainDb);
}

TEST_CASE(
    "An overdriven audition does not depend on how the stream is cut and is as new after a reset",
    "[core][audition][overdrive]")
{
    const HammersteinModel model = ringingModel();
    const std::vector candidates {candidateOf(model, false), candidateOf(model)};
    const Stereo programme {test::gaussianNoise(30000, 0.1, 7), test::gaussianNoise(30000, 0.1, 8)};
    constexpr std::array<std::size_t, 1> evenBlocks {512};
    const auto engine = engineOf(candidates, test::programmeAlone());
    Stereo even;
    runThrough(*engine, programme, evenBlocks, even);
    engine->setParameters(test::programmeAlone());
    engine->reset();
    Stereo uneven;
    runThrough(*engine, programme, unevenBlocks, uneven);
    CHECK(uneven == even);
}

TEST_CASE("Overdriven candidates take no memory and lock nothing on the audio thread",
          "[core][audition][overdrive]")
{
    const HammersteinModel model = ringingModel();
    const std::vector candidates {candidateOf(model), candidateOf(model, false)};
    const Stereo programme {test::gaussianNoise(30000, 0.1, 7), test::gaussianNoise(30000, 0.1, 8)};
    const auto engine = engineOf(candidates, test::programmeAlone());
    audition::SceneRequest request;
    request.candidates = candidates;
    auto next = audition::buildScene(request, engine->layout(), sampleRate);
    REQUIRE(next);
    engine->publish(std::make_unique<audition::AuditionScene>(*std::move(next)));
    Stereo output;
    for (auto& ear : output)
        ear.reserve(2 * programme[0].size());
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    runThrough(*engine, programme, unevenBlocks, output);
    engine->reset();
    runThrough(*engine, programme, unevenBlocks, output);
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
}

TEST_CASE("Between linear and overdriven speakers no step is larger than the fade makes",
          "[core][audition][overdrive]")
{
    // See "No step in a switch is larger than the fade makes" for the bound.
    const bool toOverdriven = GENERATE(true, false);
    CAPTURE(toOverdriven);
    const HammersteinModel model = squareLaw();
    auto parameters = test::programmeAlone();
    const auto engine =
        engineOf({candidateOf(model, !toOverdriven), candidateOf(model, toOverdriven)}, parameters);
    const Stereo programme {std::vector<float>(20000, 0.5F), std::vector<float>(20000, 0.5F)};
    Stereo start;
    test::runEngineOver(*engine, programme, 0, 5000, unevenBlocks, start);
    Stereo output;
    const auto first = static_cast<double>(start[0].back());
    parameters.candidate = 1;
    engine->setParameters(parameters);
    test::runEngineOver(*engine, programme, 5000, 10000, unevenBlocks, output);
    const auto second = static_cast<double>(output[0].back());
    // x + x^2 at one half.
    CHECK(second == Approx(toOverdriven ? 1.5 * first : first / 1.5).epsilon(1e-3));
    CHECK(test::largestStep(output[0])
          <= 1.001 * 0.5 * std::numbers::pi / 960.0 * std::hypot(first, second));

    if (!toOverdriven)
        return;
    // Switching off and on glides for 50 ms.
    const double added = std::abs(second - first);
    for (const bool isOn : {false, true}) {
        parameters.overdriven = isOn;
        engine->setParameters(parameters);
        Stereo glide;
        const std::size_t begin = isOn ? 15000 : 10000;
        test::runEngineOver(*engine, programme, begin, begin + 5000, unevenBlocks, glide);
        CHECK(static_cast<double>(glide[0].back()) == Approx(isOn ? second : first).epsilon(1e-3));
        // A branch that begins anew rises at once behind its filters' 30 frames, at a gain that is
        // 30 / 2400 by then.
        CHECK(test::largestStep(glide[0]) < 5.0 * added / 2400.0);
    }
}

TEST_CASE("More volume drives the speakers harder", "[core][audition][overdrive]")
{
    // The square of a sine of amplitude a holds a^2 / 2 at twice its frequency: 6 dB more volume are
    // 6 dB more of it re the sine.
    const CandidateRequest candidate = candidateOf(squareLaw());
    auto parameters = test::programmeAlone();
    parameters.outputLevelDb = -40.0;
    const double plainDb = secondHarmonicDb(candidate, parameters);
    CHECK(plainDb == Approx(dsp::amplitudeToDb(0.5 * 0.1)).margin(0.05));
    for (const double volumeDb : {-12.0, 6.0}) {
        parameters.volumeDb = volumeDb;
        CHECK(secondHarmonicDb(candidate, parameters) - plainDb == Approx(volumeDb).margin(0.02));
    }
    // A radio that plays louder at speed does the same.
    CandidateRequest following = candidate;
    auto radio = std::make_shared<audition::SpeedDependence>();
    radio->volume.gains = {{0.0, 0.0}, {100.0, 6.0}};
    following.atSpeed = radio;
    parameters.volumeDb = 0.0;
    parameters.monitor = Monitor::programmeOnly;
    parameters.ride.speedKmh = 100.0;
    CHECK(secondHarmonicDb(following, parameters) - plainDb == Approx(6.0).margin(0.02));
    // The level at the headphones does not.
    parameters.outputLevelDb = -46.0;
    CHECK(secondHarmonicDb(following, parameters) - plainDb == Approx(6.0).margin(0.02));
}

TEST_CASE("Turning the volume down makes no burst of what still rings",
          "[core][audition][overdrive]")
{
    // Without noise the level at the headphones stays while the radio's volume falls: the tail of
    // the harder drive must not be brought up with it.
    const CandidateRequest candidate = candidateOf(ringingModel());
    auto parameters = test::programmeAlone();
    parameters.outputLevelDb = -30.0;
    const Stereo programme {test::gaussianNoise(40000, 0.1, 7), test::gaussianNoise(40000, 0.1, 8)};
    const auto engine = engineOf({candidate}, parameters);
    Stereo before;
    test::runEngineOver(*engine, programme, 0, 20000, unevenBlocks, before);
    parameters.volumeDb = -50.0;
    engine->setParameters(parameters);
    Stereo after;
    test::runEngineOver(*engine, programme, 20000, 40000, unevenBlocks, after);
    const auto peak = [](const std::vector<float>& samples) {
        float largest = 0.0F;
        for (const float sample : samples)
            largest = std::max(largest, std::abs(sample));
        return largest;
    };
    CHECK(peak(after[0]) < 1.2F * peak(before[0]));
}

TEST_CASE("A candidate far from the level of its overdrive model is refused",
          "[core][audition][overdrive]")
{
    CandidateRequest candidate = candidateOf(squareLaw());
    for (float& tap : candidate.response.impulse)
        tap *= 0.005F;
    audition::SceneRequest request;
    request.candidates = {candidate};
    const auto scene =
        audition::buildScene(request, audition::PartitionLayout::forTaps(20000), sampleRate);
    REQUIRE_FALSE(scene);
    CHECK_THAT(scene.error().message, Catch::Contains("'overdriven'") && Catch::Contains("40 dB"));
}
