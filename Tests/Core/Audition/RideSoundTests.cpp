// The noise of a ride as an audition plays it: modelled or recorded.
#include "Core/Audition/RideSound.h"

#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/OfflineRender.h"
#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"
#include "Support/LockCounter.h"
#include "Support/RecordedNoiseFixture.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using audition::EngineNoise;
using audition::Monitor;
using audition::SceneRide;
using test::Stereo;

namespace {

constexpr std::array<std::size_t, 1> wholeBlocks {512};
const std::vector<std::vector<float>> identity {{1.0F}};

Stereo silence(std::size_t numFrames)
{
    return {std::vector<float>(numFrames, 0.0F), std::vector<float>(numFrames, 0.0F)};
}

AuditionEngine::Parameters noiseAt(double speedKmh)
{
    AuditionEngine::Parameters parameters;
    parameters.ride.speedKmh = speedKmh;
    parameters.monitor = Monitor::noiseOnly;
    parameters.outputLevelDb = -20.0;
    parameters.ceilingDbfs = 0.0;
    return parameters;
}

SceneRide recordedRide()
{
    return audition::makeSceneRide(
        {}, std::make_shared<const ride::RecordedNoise>(test::recordedNoise()));
}

std::unique_ptr<audition::AuditionScene> sceneWith(const AuditionEngine& engine,
                                                   const SceneRide& sceneRide)
{
    auto scene = test::sceneOf(engine.layout(), identity);
    scene->ride = sceneRide;
    return scene;
}

/** An engine that plays the noise of a ride. */
struct Riding {
    Riding(const SceneRide& sceneRide, const AuditionEngine::Parameters& parameters)
        : engine(test::promptSettings())
    {
        engine.setParameters(parameters);
        engine.prepare({});
        auto scene = sceneWith(engine, sceneRide);
        levels = levelsOf(*scene, scene->candidates.front(), parameters);
        engine.publish(std::move(scene));
        engine.reset();
    }

    AuditionEngine engine;
    audition::AuditionLevels levels;
};

/** Level of a stretch in dB re full-scale sine, mean of both ears. */
double levelDbfs(const Stereo& audio, std::size_t begin, std::size_t numFrames)
{
    double power = 0.0;
    for (const auto& ear : audio)
        for (std::size_t frame = begin; frame < begin + numFrames; ++frame)
            power += static_cast<double>(ear[frame]) * static_cast<double>(ear[frame]);
    return 10.0 * std::log10(power / static_cast<double>(numFrames));
}

/** The loudest 50 ms of a stretch. */
double loudestDbfs(const Stereo& audio, std::size_t begin, std::size_t end)
{
    constexpr std::size_t window = 2400;
    double loudest = dsp::silenceDb;
    for (std::size_t frame = begin; frame + window <= end; frame += window / 4)
        loudest = std::max(loudest, levelDbfs(audio, frame, window));
    return loudest;
}

} // namespace

TEST_CASE("The listener's choice reaches the modelled ride", "[core][audition]")
{
    SceneRide sceneRide;
    sceneRide.parameters.measuredRpm = 3000.0;
    const auto ride = audition::rideOf(
        sceneRide, {90.0, ride::Screen::tall, ride::EarPlugs::nominal, EngineNoise::whenRiding});
    CHECK(ride.speedKmh == 90.0);
    CHECK(ride.screen == ride::Screen::tall);
    CHECK(ride.earPlugs == ride::EarPlugs::nominal);
    CHECK(ride.engineState == ride::EngineState::running);
    CHECK(ride.measuredRpm == 3000.0);

    const auto runs = [&](double speedKmh, EngineNoise engine) {
        return audition::rideOf(sceneRide, {.speedKmh = speedKmh, .engine = engine}).engineState
               == ride::EngineState::running;
    };
    CHECK_FALSE(runs(0.0, EngineNoise::whenRiding));
    CHECK(runs(0.0, EngineNoise::alsoParked));
    CHECK(runs(50.0, EngineNoise::alsoParked));
    CHECK_FALSE(runs(50.0, EngineNoise::off));
}

TEST_CASE("Parked with the engine off there is no noise, with it running there is its idle",
          "[core][audition]")
{
    AuditionEngine::Parameters parameters = noiseAt(0.0);
    Riding silent({}, parameters);
    CHECK(silent.levels.noise == ride::RideLevels {});
    const Stereo nothing = test::runEngine(silent.engine, silence(48000), wholeBlocks);
    CHECK(std::ranges::all_of(nothing[0], [](float sample) { return sample == 0.0F; }));

    parameters.ride.engine = EngineNoise::alsoParked;
    Riding idling({}, parameters);
    // EngineModel: 74 dB(A) before the helmet; a full-face one takes from it.
    CHECK(idling.levels.noise.engineDba < 74.0);
    CHECK(idling.levels.noise.engineDba > 60.0);
    CHECK(idling.levels.noise.totalDba == idling.levels.noise.engineDba);
    const Stereo idle = test::runEngine(idling.engine, silence(48000), wholeBlocks);
    CHECK(levelDbfs(idle, 24000, 24000) > -90.0);
}

TEST_CASE("A speed beyond 250 km/h is held there, and one that is no number is parked",
          "[core][audition]")
{
    constexpr double notANumber = std::numeric_limits<double>::quiet_NaN();
    Riding fastest({}, noiseAt(250.0));
    Riding beyond({}, noiseAt(400.0));
    CHECK(beyond.levels == fastest.levels);
    const Stereo expected = test::runEngine(fastest.engine, silence(24000), wholeBlocks);
    const Stereo held = test::runEngine(beyond.engine, silence(24000), wholeBlocks);
    const bool same = held == expected;
    CHECK(same);
    const Riding parked({}, noiseAt(0.0));
    const Riding unknown({}, noiseAt(notANumber));
    CHECK(unknown.levels == parked.levels);
}

TEST_CASE("Plugs take from music and noise alike", "[core][audition]")
{
    AuditionEngine::Parameters parameters = noiseAt(100.0);
    const Riding bare({}, parameters);
    parameters.ride.earPlugs = ride::EarPlugs::cautious;
    const Riding plugged({}, parameters);
    CHECK(plugged.levels.plugLossDb == 15.0);
    CHECK(plugged.levels.noise.totalDba == Approx(bare.levels.noise.totalDba - 15.0));
    CHECK(plugged.levels.programmeSplDba == Approx(bare.levels.programmeSplDba - 15.0));
    CHECK(plugged.levels.outputDbfsA == Approx(bare.levels.outputDbfsA));
    CHECK(plugged.levels.programmeGainDb == Approx(bare.levels.programmeGainDb));
}

TEST_CASE("The volume control lifts the music against the noise", "[core][audition]")
{
    AuditionEngine::Parameters parameters = noiseAt(100.0);
    const Riding usual({}, parameters);
    parameters.volumeDb = 7.0;
    const Riding louder({}, parameters);
    CHECK(louder.levels.radioGainDb == 7.0);
    CHECK(louder.levels.programmeSplDba == Approx(usual.levels.programmeSplDba + 7.0));
    CHECK(louder.levels.noise == usual.levels.noise);
    CHECK(louder.levels.outputDbfsA == Approx(usual.levels.outputDbfsA));
}

TEST_CASE("Recorded noise is heard with its third octaves at its level", "[core][audition]")
{
    // At the speed of a recording; its level is the model's, as it is not calibrated.
    const SceneRide sceneRide = recordedRide();
    CHECK_FALSE(audition::isNoiseMeasured(sceneRide));
    AuditionEngine::Parameters parameters = noiseAt(80.0);
    const auto modelled = ride::rideLevels(audition::rideOf({}, {.speedKmh = 80.0})).totalDba;
    CHECK(audition::noiseLevels(sceneRide, parameters.ride).totalDba
          == Approx(modelled).margin(0.01));

    Riding riding(sceneRide, parameters);
    const Stereo output =
        test::runEngine(riding.engine, silence(std::size_t {1} << 21U), wholeBlocks);
    const auto lines = test::lineSpectrum(output[0]);
    const double binHz = 48000.0 / static_cast<double>(output[0].size());
    const auto expected =
        audition::noiseSpectrum(sceneRide, parameters.ride).raisedBy(riding.levels.scaleDb);
    for (std::size_t band = 4; band < hearing::numThirdOctaves; ++band) {
        const dsp::Band limits = hearing::thirdOctave(band);
        CAPTURE(limits.centreHz);
        // The gliding tone at 90 Hz wanders over the edge of these two.
        if (limits.lowerHz < 90.0 && limits.upperHz > 88.0)
            continue;
        const double power = test::powerBetween(lines, binHz, limits.lowerHz, limits.upperHz);
        // 44 s with slow gusts of 2.4 dB: the mean level of a stretch that long is uncertain.
        CHECK(10.0 * std::log10(2.0 * power) == Approx(expected.levelsDb[band]).margin(1.0));
    }
}

TEST_CASE("A calibrated recording keeps its own level", "[core][audition]")
{
    auto noise = test::recordedNoise();
    noise.splAtFullScaleDb = 123.0;
    const SceneRide sceneRide =
        audition::makeSceneRide({}, std::make_shared<const ride::RecordedNoise>(noise));
    CHECK(audition::isNoiseMeasured(sceneRide));
    CHECK(audition::noiseLevels(sceneRide, {.speedKmh = 80.0}).totalDba
          == Approx(123.0 + ride::levelDbfsA(noise.recordings.front().state)));
    const auto figures = audition::noiseFigures(sceneRide, {.speedKmh = 80.0});
    CHECK(std::ranges::all_of(figures, [](const dsp::ModelFigure& figure) {
        return figure.status != dsp::FigureStatus::sourced;
    }));
}

TEST_CASE("A ride that slows down is at no moment louder than before or after", "[core][audition]")
{
    const bool isRecorded = GENERATE(false, true);
    CAPTURE(isRecorded);
    SceneRide sceneRide = isRecorded ? recordedRide() : SceneRide {};
    sceneRide.parameters.wind.gustDeviationDb = 0.0;
    if (isRecorded) {
        auto steady = test::recordedNoise();
        for (auto& recording : steady.recordings)
            recording.state.fluctuation = {};
        sceneRide.recorded = std::make_shared<const ride::RecordedNoise>(steady);
    }
    auto parameters = noiseAt(120.0);
    Riding riding(sceneRide, parameters);
    Stereo output;
    const Stereo programme = silence(480000);
    test::runEngineOver(riding.engine, programme, 0, 240000, wholeBlocks, output);
    parameters.ride.speedKmh = isRecorded ? 80.0 : 15.0;
    riding.engine.setParameters(parameters);
    test::runEngineOver(riding.engine, programme, 240000, 480000, wholeBlocks, output);
    const double usual =
        std::max(loudestDbfs(output, 48000, 240000), loudestDbfs(output, 360000, 480000));
    // Had the scale gone ahead of the noise, it would be louder by up to 25 dB here.
    CHECK(loudestDbfs(output, 240000, 360000) < usual + 1.5);
}

TEST_CASE("The noise of a ride does not depend on how the stream is cut", "[core][audition]")
{
    const bool isRecorded = GENERATE(false, true);
    CAPTURE(isRecorded);
    const SceneRide sceneRide = isRecorded ? recordedRide() : SceneRide {};
    auto parameters = noiseAt(100.0);
    parameters.ride.screen = ride::Screen::low;
    Riding one(sceneRide, parameters);
    Riding other(sceneRide, parameters);
    constexpr std::array<std::size_t, 5> uneven {1, 8192, 37, 500, 64};
    const Stereo whole = test::runEngine(one.engine, silence(120000), wholeBlocks);
    const Stereo cut = test::runEngine(other.engine, silence(120000), uneven);
    const bool same = whole[0] == cut[0] && whole[1] == cut[1];
    CHECK(same);
    CHECK(whole[0] != whole[1]);
}

TEST_CASE("From modelled to recorded noise the engine fades", "[core][audition]")
{
    auto parameters = noiseAt(80.0);
    Riding riding({}, parameters);
    Stereo output;
    const Stereo programme = silence(240000);
    test::runEngineOver(riding.engine, programme, 0, 96000, wholeBlocks, output);
    riding.engine.publish(sceneWith(riding.engine, recordedRide()));
    test::runEngineOver(riding.engine, programme, 96000, 192000, wholeBlocks, output);
    riding.engine.publish(sceneWith(riding.engine, {}));
    test::runEngineOver(riding.engine, programme, 192000, 240000, wholeBlocks, output);

    const auto part = [&](std::size_t from, std::size_t to) {
        return std::span(output[0]).subspan(from, to - from);
    };
    const double usual =
        std::max({test::largestStep(part(24000, 95000)), test::largestStep(part(120000, 191000)),
                  test::largestStep(part(200000, 240000))});
    CHECK(test::largestStep(part(95000, 120000)) < 1.2 * usual);
    CHECK(test::largestStep(part(191000, 200000)) < 1.2 * usual);
    // The recorded noise is another: its bass is far stronger than its treble.
    CHECK(levelDbfs(output, 130000, 60000) > dsp::silenceDb);
}

TEST_CASE("Recorded noise takes no memory and no lock on the audio thread", "[core][audition]")
{
    auto parameters = noiseAt(80.0);
    Riding riding(recordedRide(), parameters);
    Stereo output;
    for (auto& ear : output)
        ear.reserve(400000);
    const Stereo programme = silence(60000);
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    for (const double speedKmh : {80.0, 95.0, 140.0, 0.0, 110.0}) {
        parameters.ride.speedKmh = speedKmh;
        riding.engine.setParameters(parameters);
        test::runEngineOver(riding.engine, programme, 0, 60000, wholeBlocks, output);
    }
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
    for (const auto& ear : output)
        CHECK(std::ranges::all_of(ear, [](float sample) { return std::isfinite(sample); }));
}
