// What else than the linear sound goes through a listener's seat: the noise of the ride, and what
// overdriven speakers add.
#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/OfflineRender.h"
#include "Core/Audition/SceneBuilder.h"
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
using audition::Monitor;
using audition::SceneRequest;
using test::Stereo;

namespace {

constexpr double sampleRate = 48000.0;
constexpr std::array<std::size_t, 4> unevenBlocks {64, 333, 1, 512};

measure::HammersteinModel squareLaw()
{
    measure::HammersteinModel model;
    model.name = "bench";
    model.arrivalFrame = 1440;
    for (std::size_t power = 0; power < model.kernels.size(); ++power) {
        model.kernels[power].assign(9600, 0.0F);
        model.kernels[power][model.arrivalFrame] = power < 2 ? 0.5F : 0.0F;
    }
    model.takes = {{"loud", 0.0, false}, {"soft", -6.0, false}};
    model.orders = {{2, {{40.0, 8000.0}}, 0.1, "order 2 from 40 Hz to 8000 Hz"}};
    return model;
}

std::shared_ptr<const seat::ListenerSeat> makeSeat(bool isBinaural, bool isCorrected)
{
    seat::SeatSettings settings;
    settings.isBinaural = isBinaural;
    auto loaded = seat::loadListenerSeat(settings);
    REQUIRE(loaded);
    seat::ListenerSeat made = *loaded != nullptr ? **loaded : seat::ListenerSeat {};
    if (isCorrected) {
        made.headphone =
            files::FrequencyTable {{50.0, 1000.0, 5000.0, 12000.0}, {4.0, 0.0, 5.0, 0.0}, {}};
        made.headphoneSource = "made up";
    }
    return std::make_shared<const seat::ListenerSeat>(std::move(made));
}

SceneRequest sceneFor(std::shared_ptr<const seat::ListenerSeat> seat, bool isOverdriven)
{
    const auto model = std::make_shared<const measure::HammersteinModel>(squareLaw());
    SceneRequest request;
    request.candidates.resize(2);
    for (auto& candidate : request.candidates) {
        candidate.name = "bench";
        candidate.response.impulse = model->kernels.front();
        candidate.response.arrivalFrame = model->arrivalFrame;
        if (isOverdriven)
            candidate.overdrive = model;
    }
    request.seat = std::move(seat);
    return request;
}

AuditionEngine::Parameters atSpeed(Monitor monitor)
{
    AuditionEngine::Parameters parameters;
    parameters.ride.speedKmh = 100.0;
    parameters.monitor = monitor;
    parameters.outputLevelDb = -30.0;
    parameters.ceilingDbfs = 0.0;
    return parameters;
}

audition::Rendering render(const SceneRequest& request, std::size_t numFrames, Monitor monitor)
{
    const dsp::AudioBuffer programme {
        sampleRate,
        {test::gaussianNoise(numFrames, 0.1, 7), test::gaussianNoise(numFrames, 0.1, 8)}};
    auto rendering =
        audition::renderAudition(request, programme, test::promptSettings(), atSpeed(monitor));
    REQUIRE(rendering);
    return *std::move(rendering);
}

std::shared_ptr<const seat::SeatFilters>
filtersOf(const std::shared_ptr<const seat::ListenerSeat>& seat)
{
    auto made = seat::SeatFilters::make(seat, sampleRate);
    REQUIRE(made);
    return *std::move(made);
}

std::unique_ptr<AuditionEngine> engineOf(const SceneRequest& request,
                                         const AuditionEngine::Parameters& parameters)
{
    auto engine = std::make_unique<AuditionEngine>(test::promptSettings());
    engine->setParameters(parameters);
    engine->prepare({.sampleRate = sampleRate});
    auto scene = audition::buildScene(request, engine->layout(), sampleRate);
    REQUIRE(scene);
    engine->publish(std::make_unique<audition::AuditionScene>(*std::move(scene)));
    engine->reset();
    return engine;
}

} // namespace

TEST_CASE("The noise of the ride goes through the headphones' correction and no placement",
          "[core][audition][seat]")
{
    constexpr std::size_t numFrames = 12000;
    const auto plain = render(sceneFor(nullptr, false), numFrames, Monitor::noiseOnly);
    const auto placed =
        render(sceneFor(makeSeat(true, false), false), numFrames, Monitor::noiseOnly);
    CHECK(placed.audio.channels == plain.audio.channels);
    const bool isBinaural = GENERATE(false, true);
    const auto seat = makeSeat(isBinaural, true);
    const auto corrected = render(sceneFor(seat, false), numFrames, Monitor::noiseOnly);
    CHECK(corrected.levels.noise.totalDba == plain.levels.noise.totalDba);
    const auto filters = filtersOf(seat);
    const auto taps = filters->correctionTaps();
    REQUIRE(taps.size() == 4096);
    const std::vector<float> filter(taps.begin(), taps.end());
    for (std::size_t ear = 0; ear < audition::numEars; ++ear)
        CHECK(test::relativeErrorDb(corrected.audio.channels[ear],
                                    test::directConvolution(plain.audio.channels[ear], filter))
              < -110.0);
}

TEST_CASE("The noise is corrected at every sample rate", "[core][audition][seat]")
{
    for (const double rate : {44100.0, 96000.0, 192000.0}) {
        CAPTURE(rate);
        const auto seat = makeSeat(false, true);
        const auto noiseWith = [&](std::shared_ptr<const seat::ListenerSeat> heardWith) {
            const dsp::AudioBuffer silence = dsp::makeSilence(rate, 1, 2500);
            auto rendering =
                audition::renderAudition(sceneFor(std::move(heardWith), false), silence,
                                         test::promptSettings(), atSpeed(Monitor::noiseOnly));
            REQUIRE(rendering);
            return rendering->audio.channels[0];
        };
        const auto filters = seat::SeatFilters::make(seat, rate);
        REQUIRE(filters);
        const auto taps = (*filters)->correctionTaps();
        REQUIRE(taps.size() == seat::numCorrectionTaps(rate));
        CHECK(test::relativeErrorDb(
                  noiseWith(seat),
                  test::directConvolution(noiseWith(nullptr),
                                          std::vector<float>(taps.begin(), taps.end())))
              < -110.0);
    }
}

TEST_CASE("What overdriven speakers add goes through the seat as the linear sound does",
          "[core][audition][seat][overdrive]")
{
    constexpr std::size_t numFrames = 12000;
    const auto addedWith = [&](const std::shared_ptr<const seat::ListenerSeat>& seat) {
        const auto linear = render(sceneFor(seat, false), numFrames, Monitor::programmeOnly);
        const auto driven = render(sceneFor(seat, true), numFrames, Monitor::programmeOnly);
        CHECK(driven.levels.programmeSplDba == linear.levels.programmeSplDba);
        Stereo added;
        for (std::size_t ear = 0; ear < audition::numEars; ++ear)
            for (std::size_t frame = 0; frame < numFrames; ++frame)
                added[ear].push_back(driven.audio.channels[ear][frame]
                                     - linear.audio.channels[ear][frame]);
        return added;
    };
    const auto bare = addedWith(nullptr);
    const bool isBinaural = GENERATE(false, true);
    CAPTURE(isBinaural);
    const auto seat = makeSeat(isBinaural, true);
    const auto heard = addedWith(seat);
    std::vector<float> unit(8192, 0.0F);
    unit[0] = 1.0F;
    const auto ways = filtersOf(seat)->earKernels(unit, unit, measure::SpeakerGroup::all);
    for (std::size_t ear = 0; ear < audition::numEars; ++ear) {
        std::vector<double> expected(numFrames, 0.0);
        for (std::size_t side = 0; side < seat::numSides; ++side)
            if (!ways[ear][side].empty()) {
                const auto through = test::directConvolution(bare[side], ways[ear][side]);
                std::ranges::transform(expected, through, expected.begin(), std::plus<> {});
            }
        // Differences of two renderings, whose samples are floats.
        CHECK(test::relativeErrorDb(heard[ear], expected) < -75.0);
    }
}

TEST_CASE("A seat with noise and distortion does not depend on how the stream is cut",
          "[core][audition][seat][overdrive]")
{
    const auto request = sceneFor(makeSeat(true, true), true);
    const Stereo programme {test::gaussianNoise(20000, 0.1, 7), test::gaussianNoise(20000, 0.1, 8)};
    const auto runAll = [&](std::span<const std::size_t> blocks) {
        auto parameters = atSpeed(Monitor::programmeAndNoise);
        const auto engine = engineOf(request, parameters);
        Stereo output;
        test::runEngineOver(*engine, programme, 0, 5001, blocks, output);
        parameters.candidate = 1;
        engine->setParameters(parameters);
        test::runEngineOver(*engine, programme, 5001, 11000, blocks, output);
        parameters.monitor = Monitor::programmeOnly;
        engine->setParameters(parameters);
        test::runEngineOver(*engine, programme, 11000, 15000, blocks, output);
        parameters.monitor = Monitor::noiseOnly;
        engine->setParameters(parameters);
        test::runEngineOver(*engine, programme, 15000, 20000, blocks, output);
        return output;
    };
    constexpr std::array<std::size_t, 1> evenBlocks {512};
    CHECK(runAll(unevenBlocks) == runAll(evenBlocks));
}

TEST_CASE("A seat that changes fades in the corrected noise, whole and without a step",
          "[core][audition][seat]")
{
    const auto parameters = atSpeed(Monitor::noiseOnly);
    const Stereo silence {std::vector<float>(16000, 0.0F), std::vector<float>(16000, 0.0F)};
    const auto before = sceneFor(nullptr, false);
    const auto after = sceneFor(makeSeat(false, true), false);
    const auto runFrom = [&](const SceneRequest& first, const SceneRequest* second) {
        const auto engine = engineOf(first, parameters);
        Stereo output;
        test::runEngineOver(*engine, silence, 0, 6000, unevenBlocks, output);
        if (second != nullptr) {
            auto scene = audition::buildScene(*second, engine->layout(), sampleRate);
            REQUIRE(scene);
            engine->publish(std::make_unique<audition::AuditionScene>(*std::move(scene)));
        }
        test::runEngineOver(*engine, silence, 6000, 16000, unevenBlocks, output);
        return output;
    };
    const auto plain = runFrom(before, nullptr);
    const auto corrected = runFrom(after, nullptr);
    for (const bool isForth : {true, false}) {
        const auto changed = isForth ? runFrom(before, &after) : runFrom(after, &before);
        const Stereo& from = isForth ? plain : corrected;
        const Stereo& to = isForth ? corrected : plain;
        for (std::size_t ear = 0; ear < audition::numEars; ++ear) {
            // 512 frames of warm-up, 960 of fade: complete afterwards, past and all.
            for (std::size_t frame = 6000; frame < 16000; ++frame) {
                const double low = std::min(from[ear][frame], to[ear][frame]);
                const double high = std::max(from[ear][frame], to[ear][frame]);
                REQUIRE(changed[ear][frame] >= low - 1e-5);
                REQUIRE(changed[ear][frame] <= high + 1e-5);
            }
            const std::vector<float> tail(changed[ear].begin() + 7500, changed[ear].end());
            const std::vector<double> expected(to[ear].begin() + 7500, to[ear].end());
            CHECK(test::relativeErrorDb(tail, expected) < -110.0);
        }
    }
}

TEST_CASE("A seat's noise and distortion take no memory and lock nothing on the audio thread",
          "[core][audition][seat][overdrive]")
{
    const auto request = sceneFor(makeSeat(true, true), true);
    auto parameters = atSpeed(Monitor::programmeAndNoise);
    const auto engine = engineOf(request, parameters);
    auto next =
        audition::buildScene(sceneFor(makeSeat(false, true), true), engine->layout(), sampleRate);
    REQUIRE(next);
    engine->publish(std::make_unique<audition::AuditionScene>(*std::move(next)));
    const Stereo programme {test::gaussianNoise(12000, 0.1, 7), test::gaussianNoise(12000, 0.1, 8)};
    Stereo output;
    for (auto& ear : output)
        ear.reserve(2 * programme[0].size());
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    test::runEngineOver(*engine, programme, 0, 6000, unevenBlocks, output);
    parameters.candidate = 1;
    engine->setParameters(parameters);
    test::runEngineOver(*engine, programme, 6000, 12000, unevenBlocks, output);
    engine->reset();
    test::runEngineOver(*engine, programme, 0, 6000, unevenBlocks, output);
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
}

TEST_CASE("A rendering says how far the programme drives the speakers past what was measured",
          "[core][audition][overdrive]")
{
    const auto request = sceneFor(nullptr, true);
    const auto heldWith = [&](double amplitude, double volumeDb, bool isOverdriven = true) {
        std::vector<float> sine(9600);
        for (std::size_t frame = 0; frame < sine.size(); ++frame)
            sine[frame] = static_cast<float>(amplitude
                                             * std::sin(2.0 * std::numbers::pi * 300.0
                                                        * static_cast<double>(frame) / sampleRate));
        auto parameters = test::programmeAlone();
        parameters.outputLevelDb = -40.0;
        parameters.volumeDb = volumeDb;
        parameters.overdriven = isOverdriven;
        const auto rendering = audition::renderAudition(request, {sampleRate, {sine}},
                                                        test::promptSettings(), parameters);
        REQUIRE(rendering);
        return rendering->overdriveHeldDb;
    };
    // The loudest take was a full-scale sine.
    CHECK(heldWith(0.5, 0.0) == 0.0);
    CHECK(heldWith(0.5, 12.0) == Approx(dsp::amplitudeToDb(0.5) + 12.0).margin(0.1));
    CHECK(heldWith(0.9, 6.0) == Approx(dsp::amplitudeToDb(0.9) + 6.0).margin(0.1));
    CHECK(heldWith(0.9, 6.0, false) == 0.0);
}
