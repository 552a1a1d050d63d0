#include "Core/Audition/AuditionEngine.h"

#include "Support/AuditionFixtures.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using audition::AuditionScene;
using audition::Monitor;
using test::Stereo;

namespace {

constexpr std::array<std::size_t, 1> wholeBlocks {512};
const std::vector<float> identity {1.0F};

/** An engine with a scene of the given candidates taken up. */
struct Playing {
    explicit Playing(const std::vector<std::vector<float>>& candidates,
                     const AuditionEngine::Parameters& parameters = test::programmeAlone(),
                     const AuditionEngine::Settings& settings = test::promptSettings(),
                     double sampleRate = 48000.0, ride::Helmet helmet = ride::Helmet::fullFace)
        : engine(settings)
    {
        engine.setParameters(parameters);
        engine.prepare({.sampleRate = sampleRate});
        auto scene = test::sceneOf(engine.layout(), candidates);
        scene->ride.parameters.helmet = helmet;
        // Steady, so that short stretches tell its level.
        scene->ride.parameters.wind.gustDeviationDb = 0.0;
        levels = levelsOf(*scene, scene->candidates.front(), parameters);
        engine.publish(std::move(scene));
        engine.reset();
    }

    [[nodiscard]] double programmeGain() const
    {
        return dsp::dbToAmplitude(levels.programmeGainDb);
    }

    AuditionEngine engine;
    audition::AuditionLevels levels;
};

Stereo silence(std::size_t numFrames)
{
    return {std::vector<float>(numFrames), std::vector<float>(numFrames)};
}

Stereo noisePair(std::size_t numFrames, double rms, std::uint64_t seed)
{
    return {test::gaussianNoise(numFrames, rms, seed),
            test::gaussianNoise(numFrames, rms, seed + 1)};
}

bool isSilent(const Stereo& audio)
{
    return std::ranges::all_of(audio, [](const auto& ear) {
        return std::ranges::all_of(ear, [](float sample) { return sample == 0.0F; });
    });
}

double peakOf(const Stereo& audio)
{
    double peak = 0.0;
    for (const auto& ear : audio)
        for (const float sample : ear) {
            if (!std::isfinite(sample))
                return std::numeric_limits<double>::infinity();
            peak = std::max(peak, std::abs(static_cast<double>(sample)));
        }
    return peak;
}

AuditionEngine::Parameters onTheRoad()
{
    AuditionEngine::Parameters parameters;
    parameters.ride.speedKmh = 90.0;
    return parameters;
}

} // namespace

TEST_CASE("An impulse leaves the engine in the frame it came in, with the gain the levels state",
          "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 88200.0, 96000.0, 192000.0);
    CAPTURE(sampleRate);
    Playing playing({identity}, test::programmeAlone(), test::promptSettings(), sampleRate);
    STATIC_REQUIRE(AuditionEngine::latencySamples() == 0);

    Stereo programme = silence(6000);
    for (const std::size_t frame : {0U, 1U, 63U, 64U, 511U, 512U, 4095U, 4096U, 5003U})
        programme[0][frame] = programme[1][frame] = 0.5F;
    const Stereo output = test::runEngine(playing.engine, programme, wholeBlocks);
    const auto gain = static_cast<float>(playing.programmeGain());
    for (std::size_t frame = 0; frame < programme[0].size(); ++frame) {
        CAPTURE(frame);
        REQUIRE(output[0][frame] == programme[0][frame] * gain);
        REQUIRE(output[1][frame] == programme[1][frame] * gain);
    }
}

TEST_CASE("Each ear hears its own channel, crossed paths add, and one channel is heard in both",
          "[core][audition]")
{
    AuditionEngine engine(test::promptSettings());
    const auto parameters = test::programmeAlone();
    engine.setParameters(parameters);
    engine.prepare({});
    auto scene = test::sceneOf(engine.layout(), std::array {identity});
    scene->candidates[0].kernels[0][1] = std::make_shared<const audition::PartitionedKernel>(
        engine.layout(), std::vector<float> {0.0F, 0.0F, 0.25F});
    const double gain =
        dsp::dbToAmplitude(levelsOf(*scene, scene->candidates[0], parameters).programmeGainDb);
    engine.publish(std::move(scene));
    engine.reset();

    SECTION("two channels")
    {
        const Stereo programme = noisePair(3000, 0.1, 31);
        const Stereo output = test::runEngine(engine, programme, wholeBlocks);
        std::vector<double> left(3000);
        std::vector<double> right(3000);
        for (std::size_t frame = 0; frame < 3000; ++frame) {
            left[frame] = gain * static_cast<double>(programme[0][frame]);
            if (frame >= 2)
                left[frame] += 0.25 * gain * static_cast<double>(programme[1][frame - 2]);
            right[frame] = gain * static_cast<double>(programme[1][frame]);
        }
        CHECK(test::relativeErrorDb(output[0], left) < -130.0);
        CHECK(test::relativeErrorDb(output[1], right) < -130.0);
    }
    SECTION("one channel")
    {
        const auto programme = test::gaussianNoise(512, 0.1, 32);
        Stereo output = silence(512);
        const std::array<const float*, 1> input {programme.data()};
        const std::array<float*, 2> ears {output[0].data(), output[1].data()};
        engine.process({input.data(), 1, 512}, {ears.data(), 2, 512});
        CHECK(output[1][100] == programme[100] * static_cast<float>(gain));

        engine.reset();
        CHECK(test::runEngine(engine, {programme, programme}, wholeBlocks) == output);
    }
}

TEST_CASE("The engine convolves with the response", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0, 192000.0);
    CAPTURE(sampleRate);
    const auto taps = test::decayingNoise(20000, 33);
    Playing playing({taps}, test::programmeAlone(), test::promptSettings(), sampleRate);
    const Stereo programme = noisePair(30000, 0.05, 34);
    const Stereo output =
        test::runEngine(playing.engine, programme, std::array<std::size_t, 3> {512, 31, 1000});
    for (std::size_t ear = 0; ear < 2; ++ear) {
        auto reference = test::directConvolution(programme[ear], taps);
        for (double& sample : reference)
            sample *= playing.programmeGain();
        // See the test of the partitioned convolution for the figure.
        CHECK(test::relativeErrorDb(output[ear], reference) < -130.0);
    }
}

TEST_CASE("The output does not depend on how the stream is cut", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0);
    const std::vector<std::vector<float>> candidates {test::decayingNoise(9000, 41),
                                                      test::decayingNoise(700, 42), identity};
    AuditionEngine::Settings settings;
    settings.startRampSeconds = 0.1;
    const Stereo programme = noisePair(40000, 0.1, 43);

    // Parameters change at fixed frames; queued switches too end and begin at frames of their own.
    const auto render = [&](std::span<const std::size_t> blocks) {
        AuditionEngine::Parameters parameters = onTheRoad();
        Playing playing(candidates, parameters, settings, sampleRate);
        Stereo output;
        const auto runTo = [&](std::size_t end) {
            test::runEngineOver(playing.engine, programme, output[0].size(), end, blocks, output);
        };
        runTo(5001);
        parameters.candidate = 1;
        playing.engine.setParameters(parameters);
        runTo(5100);
        parameters.candidate = 2;
        parameters.outputLevelDb = -3.0;
        playing.engine.setParameters(parameters);
        runTo(11003);
        parameters.monitor = Monitor::programmeOnly;
        playing.engine.setParameters(parameters);
        runTo(21000);
        parameters.monitor = Monitor::noiseOnly;
        parameters.ride.speedKmh = 130.0;
        parameters.noiseTrimDb = 6.0;
        playing.engine.setParameters(parameters);
        runTo(programme[0].size());
        return output;
    };

    const Stereo reference = render(std::array<std::size_t, 1> {512});
    REQUIRE(peakOf(reference) > 0.0);
    const std::vector<std::vector<std::size_t>> cuts {{1},
                                                      {7},
                                                      {64},
                                                      {100},
                                                      {8192},
                                                      {40000},
                                                      {3, 500, 64, 1, 1024, 63, 65},
                                                      {0, 17, 0, 480, 441}};
    for (const auto& blocks : cuts) {
        CAPTURE(sampleRate, blocks);
        const bool same = render(blocks) == reference;
        CHECK(same);
    }
}

TEST_CASE("An engine that was reset equals a fresh one", "[core][audition]")
{
    const std::vector<std::vector<float>> candidates {test::decayingNoise(5000, 51), identity};
    const Stereo programme = noisePair(10000, 0.1, 52);
    Playing fresh(candidates, onTheRoad());
    const Stereo expected = test::runEngine(fresh.engine, programme, wholeBlocks);

    Playing used(candidates, onTheRoad());
    auto parameters = onTheRoad();
    parameters.candidate = 1;
    parameters.ceilingDbfs = -50.0;
    parameters.monitor = Monitor::programmeOnly;
    used.engine.setParameters(parameters);
    // Ends within a block, a glide and a fade.
    static_cast<void>(test::runEngine(used.engine, noisePair(777, 3.0, 53), wholeBlocks));
    used.engine.setParameters(onTheRoad());
    used.engine.reset();
    CHECK(used.engine.outputPeak() == 0.0F);
    CHECK(used.engine.ceilingGain() == 1.0F);
    const bool same = test::runEngine(used.engine, programme, wholeBlocks) == expected;
    CHECK(same);

    used.engine.prepare({});
    const bool sameAgain = test::runEngine(used.engine, programme, wholeBlocks) == expected;
    CHECK(sameAgain);
}

TEST_CASE("Silence without noise stays silence, and so does an engine without a scene",
          "[core][audition]")
{
    Playing playing({test::decayingNoise(5000, 61)});
    CHECK(isSilent(test::runEngine(playing.engine, silence(10000), wholeBlocks)));

    AuditionEngine::Parameters parameters = onTheRoad();
    for (const Monitor monitor :
         {Monitor::programmeAndNoise, Monitor::programmeOnly, Monitor::noiseOnly}) {
        AuditionEngine empty(test::promptSettings());
        parameters.monitor = monitor;
        empty.setParameters(parameters);
        empty.prepare({});
        CHECK(isSilent(test::runEngine(empty, noisePair(3000, 0.5, 62), wholeBlocks)));
        CHECK(empty.outputPeak() == 0.0F);

        // A scene without candidates is nothing to audition either.
        empty.publish(std::make_unique<AuditionScene>());
        empty.reset();
        CHECK(isSilent(test::runEngine(empty, noisePair(3000, 0.5, 62), wholeBlocks)));
    }
}

TEST_CASE("Without a scene a programme that is wanted untouched passes at the output level",
          "[core][audition]")
{
    AuditionEngine::Parameters parameters = onTheRoad();
    parameters.monitor = Monitor::untouched;
    parameters.outputLevelDb = -20.0;
    AuditionEngine empty(test::promptSettings());
    empty.setParameters(parameters);
    empty.prepare({});
    const auto programme = noisePair(3000, 0.05, 62);
    const auto heard = test::runEngine(empty, programme, wholeBlocks);
    for (std::size_t ear = 0; ear < audition::numEars; ++ear)
        for (std::size_t frame = 0; frame < heard[ear].size(); ++frame)
            REQUIRE(heard[ear][frame] == Approx(0.1F * programme[ear][frame]).margin(1e-7));
}

TEST_CASE("Output may be the memory of the input", "[core][audition]")
{
    const std::vector<std::vector<float>> candidates {test::decayingNoise(5000, 71)};
    const Stereo programme = noisePair(9000, 0.1, 72);
    Playing apart(candidates, onTheRoad());
    const Stereo expected = test::runEngine(apart.engine, programme, wholeBlocks);

    Playing inPlace(candidates, onTheRoad());
    Stereo audio = programme;
    for (std::size_t begin = 0; begin < 9000; begin += 500) {
        const std::array<const float*, 2> input {audio[0].data() + begin, audio[1].data() + begin};
        const std::array<float*, 2> ears {audio[0].data() + begin, audio[1].data() + begin};
        inPlace.engine.process({input.data(), 2, 500}, {ears.data(), 2, 500});
    }
    const bool same = audio == expected;
    CHECK(same);

    // One channel in, in the memory of the left ear.
    Playing oneChannel(candidates, onTheRoad());
    Playing reference(candidates, onTheRoad());
    Stereo mono {programme[0], std::vector<float>(9000)};
    const std::array<const float*, 1> input {mono[0].data()};
    const std::array<float*, 2> ears {mono[0].data(), mono[1].data()};
    oneChannel.engine.process({input.data(), 1, 9000}, {ears.data(), 2, 9000});
    const bool sameMono =
        mono == test::runEngine(reference.engine, {programme[0], programme[0]}, wholeBlocks);
    CHECK(sameMono);
}

TEST_CASE("NaN and infinity in the programme count as silence and leave no trace",
          "[core][audition]")
{
    const std::vector<std::vector<float>> candidates {test::decayingNoise(9000, 81)};
    const Stereo clean = noisePair(30000, 0.1, 82);
    Stereo spoilt = clean;
    Stereo silenced = clean;
    for (std::size_t frame = 1000; frame < 1400; frame += 3)
        for (std::size_t ear = 0; ear < 2; ++ear) {
            spoilt[ear][frame] = frame % 2 == 0 ? std::numeric_limits<float>::quiet_NaN()
                                                : -std::numeric_limits<float>::infinity();
            silenced[ear][frame] = 0.0F;
        }
    Playing withFaults(candidates, onTheRoad());
    Playing withSilence(candidates, onTheRoad());
    const Stereo output = test::runEngine(withFaults.engine, spoilt, wholeBlocks);
    const bool same = output == test::runEngine(withSilence.engine, silenced, wholeBlocks);
    CHECK(same);
    CHECK(std::isfinite(peakOf(output)));
}

TEST_CASE("Extremes stay finite and below the ceiling, and pass", "[core][audition]")
{
    const float level = GENERATE(1e30F, std::numeric_limits<float>::max(), 1e4F, 1e-30F, 1e-38F,
                                 std::numeric_limits<float>::denorm_min());
    const double ceilingDbfs = GENERATE(-6.0, -60.0);
    CAPTURE(level, ceilingDbfs);
    AuditionEngine::Parameters parameters = test::programmeAlone();
    parameters.ceilingDbfs = ceilingDbfs;
    Playing playing({test::decayingNoise(9000, 91)}, parameters);
    Stereo programme = silence(120000);
    for (std::size_t frame = 0; frame < 2000; ++frame)
        programme[0][frame] = programme[1][frame] = frame / 25 % 2 == 0 ? level : -level;
    for (std::size_t frame = 110000; frame < 120000; ++frame)
        programme[0][frame] = programme[1][frame] = 0.01F;

    const Stereo output = test::runEngine(playing.engine, programme, wholeBlocks);
    CHECK(peakOf(output)
          <= static_cast<double>(static_cast<float>(std::pow(10.0, ceilingDbfs / 20.0))));
    CHECK(playing.engine.ceilingGain() >= 0.0F);
    // Once the response has rung out and the ceiling has let go, the engine is as new.
    Playing fresh({test::decayingNoise(9000, 91)}, parameters);
    Stereo later = silence(10000);
    for (auto& ear : later)
        std::ranges::fill(ear, 0.01F);
    const Stereo expected = test::runEngine(fresh.engine, later, wholeBlocks);
    const Stereo end {std::vector<float>(output[0].end() - 10000, output[0].end()),
                      std::vector<float>(output[1].end() - 10000, output[1].end())};
    // Blocks fall differently, so the sums round differently.
    CHECK(test::largestDifference(end[0], expected[0]) < 1e-6);
}

TEST_CASE("Parameters out of range or not numbers never pass the ceiling", "[core][audition]")
{
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double inf = std::numeric_limits<double>::infinity();
    const double value = GENERATE_COPY(as<double> {}, nan, inf, -inf, 1e300, -1e300);
    CAPTURE(value);
    AuditionEngine::Parameters parameters;
    parameters.candidate = 1000;
    parameters.ride.speedKmh = value;
    parameters.noiseTrimDb = value;
    parameters.outputLevelDb = value;
    parameters.ceilingDbfs = value;
    Playing playing({identity});
    playing.engine.setParameters(parameters);
    CHECK(peakOf(test::runEngine(playing.engine, noisePair(9000, 10.0, 95), wholeBlocks)) <= 1.0);

    // And the engine is usable afterwards.
    playing.engine.setParameters(test::programmeAlone());
    static_cast<void>(test::runEngine(playing.engine, silence(120000), wholeBlocks));
    const Stereo programme = noisePair(2000, 0.1, 96);
    const Stereo output = test::runEngine(playing.engine, programme, wholeBlocks);
    CHECK(output[0][1999] == programme[0][1999] * static_cast<float>(playing.programmeGain()));
}

TEST_CASE("After a reset the sound rises to full gain within the start ramp", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 192000.0);
    AuditionEngine::Settings settings;
    settings.startRampSeconds = 1.0;
    Playing playing({identity}, test::programmeAlone(), settings, sampleRate);
    const auto rampFrames = static_cast<std::size_t>(sampleRate);
    Stereo programme = silence(rampFrames + 1000);
    for (auto& ear : programme)
        std::ranges::fill(ear, 0.5F);
    const Stereo output = test::runEngine(playing.engine, programme, wholeBlocks);
    CHECK(output[0].front() == 0.0F);
    CHECK(std::ranges::is_sorted(output[0]));
    CHECK(output[0][rampFrames] == 0.5F * static_cast<float>(playing.programmeGain()));
    CHECK(output[0].back() == output[0][rampFrames]);
    // A raised cosine: half way at half the time.
    CHECK(static_cast<double>(output[0][rampFrames / 2])
          == Approx(0.25 * playing.programmeGain()).epsilon(1e-6));
}

TEST_CASE("Level changes glide in a straight line over the glide time", "[core][audition]")
{
    AuditionEngine::Settings settings = test::promptSettings();
    settings.glideSeconds = 0.05;
    AuditionEngine::Parameters parameters = test::programmeAlone();
    parameters.outputLevelDb = -60.0;
    Playing playing({identity}, parameters, settings);
    Stereo programme = silence(20000);
    for (auto& ear : programme)
        std::ranges::fill(ear, 0.5F);
    Stereo output;
    const auto runTo = [&](std::size_t end) {
        test::runEngineOver(playing.engine, programme, output[0].size(), end, wholeBlocks, output);
    };
    const auto levelNow = [&] { return static_cast<double>(output[0].back()); };
    runTo(1000);
    const double quiet = levelNow();

    SECTION("output level")
    {
        parameters.outputLevelDb = 0.0;
        playing.engine.setParameters(parameters);
        runTo(1000 + 2400);
        const double loud = levelNow();
        CHECK(loud == Approx(1000.0 * quiet).epsilon(1e-5));
        // 2400 equal steps, plus the rounding of single precision.
        CHECK(test::largestStep(output[0]) <= (loud - quiet) / 2400.0 + 1e-7);
        runTo(5000);
        CHECK(levelNow() == loud);
    }
    SECTION("speed, which turns the scale down")
    {
        parameters.outputLevelDb = 0.0;
        parameters.monitor = Monitor::programmeOnly;
        playing.engine.setParameters(parameters);
        runTo(5000);
        const double parked = levelNow();
        Stereo riding;
        parameters.ride.speedKmh = 120.0;
        playing.engine.setParameters(parameters);
        test::runEngineOver(playing.engine, programme, 0, 5000, wholeBlocks, riding);
        const auto fast = static_cast<double>(riding[0].back());
        CHECK(fast < parked);
        CHECK(test::largestStep(riding[0]) <= (parked - fast) / 2400.0 + 1e-7);
    }
    SECTION("monitor: from the bike to the untouched programme and back")
    {
        for (const Monitor monitor :
             {Monitor::untouched, Monitor::noiseOnly, Monitor::programmeOnly}) {
            const double before = levelNow();
            Stereo glide;
            parameters.monitor = monitor;
            playing.engine.setParameters(parameters);
            test::runEngineOver(playing.engine, programme, 0, 5000, wholeBlocks, glide);
            const auto after = static_cast<double>(glide[0].back());
            CHECK(std::abs(after - before) > 0.0);
            CHECK(test::largestStep(glide[0]) <= std::abs(after - before) / 2400.0 + 1e-7);
            CHECK(std::abs(static_cast<double>(glide[0].front()) - before)
                  <= std::abs(after - before) / 2400.0 + 1e-7);
            output[0].back() = glide[0].back();
        }
    }
}

TEST_CASE("Each monitor sends what it says", "[core][audition]")
{
    const auto taps = test::decayingNoise(3000, 101);
    const Stereo programme = noisePair(8000, 0.05, 102);
    const auto render = [&](Monitor monitor) {
        AuditionEngine::Parameters parameters = onTheRoad();
        parameters.ceilingDbfs = 0.0;
        parameters.monitor = monitor;
        Playing playing({taps}, parameters);
        return std::pair(test::runEngine(playing.engine, programme, wholeBlocks), playing.levels);
    };
    const auto [both, levels] = render(Monitor::programmeAndNoise);
    const auto programmeOnly = render(Monitor::programmeOnly).first;
    const auto noiseOnly = render(Monitor::noiseOnly).first;
    const auto untouched = render(Monitor::untouched).first;
    for (std::size_t ear = 0; ear < 2; ++ear) {
        auto bike = test::directConvolution(programme[ear], taps);
        std::vector<double> sum(8000);
        std::vector<double> plain(8000);
        for (std::size_t frame = 0; frame < 8000; ++frame) {
            bike[frame] *= dsp::dbToAmplitude(levels.programmeGainDb);
            sum[frame] = bike[frame] + static_cast<double>(noiseOnly[ear][frame]);
            plain[frame] = dsp::dbToAmplitude(levels.untouchedGainDb)
                           * static_cast<double>(programme[ear][frame]);
        }
        CHECK(test::relativeErrorDb(programmeOnly[ear], bike) < -130.0);
        CHECK(test::relativeErrorDb(both[ear], sum) < -130.0);
        CHECK(test::relativeErrorDb(untouched[ear], plain) < -130.0);
    }
    CHECK(test::levelDbfs(noiseOnly[0]) > -60.0);
}

// The levels are the model's own, see RideFigures; here they are compared with what is heard.
TEST_CASE("The noise has the spectrum of the scene's ride", "[core][audition]")
{
    const ride::Helmet helmet =
        GENERATE(ride::Helmet::none, ride::Helmet::openFace, ride::Helmet::fullFace);
    CAPTURE(ride::helmetName(helmet));
    AuditionEngine::Parameters parameters = onTheRoad();
    parameters.monitor = Monitor::noiseOnly;
    parameters.outputLevelDb = -30.0;
    parameters.ceilingDbfs = 0.0;
    Playing playing({identity}, parameters, test::promptSettings(), 48000.0, helmet);
    const Stereo output =
        test::runEngine(playing.engine, silence(std::size_t {1} << 20U), wholeBlocks);
    const auto lines = test::lineSpectrum(output[0]);
    const double binHz = 48000.0 / static_cast<double>(output[0].size());
    audition::SceneRide sceneRide;
    sceneRide.parameters.helmet = helmet;
    const auto expected =
        audition::noiseSpectrum(sceneRide, parameters.ride)
            .raisedBy(playing.levels.scaleDb - audition::plugLossDb(sceneRide, parameters.ride));
    // Higher up, what the bass leaks into this unwindowed spectrum is stronger than the noise.
    constexpr std::size_t endBand = 28;
    for (std::size_t band = 4; band < endBand; ++band) {
        const dsp::Band limits = hearing::thirdOctave(band);
        CAPTURE(limits.centreHz);
        const double power = test::powerBetween(lines, binHz, limits.lowerHz, limits.upperHz);
        // 22 s of noise 12 Hz wide (the 50 Hz third octave) scatter by 0.27 dB, one standard
        // deviation.
        CHECK(10.0 * std::log10(2.0 * power) == Approx(expected.levelsDb[band]).margin(0.8));
    }
}

TEST_CASE("Blocks of no frames and of more frames than announced are taken", "[core][audition]")
{
    const std::vector<std::vector<float>> candidates {test::decayingNoise(3000, 111)};
    const Stereo programme = noisePair(20000, 0.1, 112);
    Playing usual(candidates, onTheRoad());
    Playing large(candidates, onTheRoad());
    const Stereo expected = test::runEngine(usual.engine, programme, wholeBlocks);
    const std::array<const float*, 2> none {nullptr, nullptr};
    const std::array<float*, 2> noEars {nullptr, nullptr};
    large.engine.process({none.data(), 2, 0}, {noEars.data(), 2, 0});
    CHECK(large.engine.outputPeak() == 0.0F);
    const bool same =
        test::runEngine(large.engine, programme, std::array<std::size_t, 1> {20000}) == expected;
    CHECK(same);
    CHECK(static_cast<double>(large.engine.outputPeak()) == peakOf(expected));
}

TEST_CASE("The meter tells the gain of the ceiling", "[core][audition]")
{
    AuditionEngine::Parameters parameters = test::programmeAlone();
    parameters.ceilingDbfs = -40.0;
    Playing playing({identity}, parameters);
    static_cast<void>(test::runEngine(playing.engine, noisePair(512, 1.0, 121), wholeBlocks));
    CHECK(playing.engine.ceilingGain() < 1.0F);
    CHECK(playing.engine.outputPeak() <= static_cast<float>(std::pow(10.0, -2.0)));
}

TEST_CASE("Another sample rate drops scenes made for the old one", "[core][audition]")
{
    Playing playing({identity});
    playing.engine.prepare({.sampleRate = 96000.0});
    CHECK(isSilent(test::runEngine(playing.engine, noisePair(1000, 0.1, 131), wholeBlocks)));
    playing.engine.publish(test::sceneOf(playing.engine.layout(), std::array {identity}));
    playing.engine.reset();
    CHECK_FALSE(isSilent(test::runEngine(playing.engine, noisePair(1000, 0.1, 131), wholeBlocks)));
}
