#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Support/PlayedJob.h"
#include "Support/PluginAllocationCounter.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <fstream>
#include <limits>

using namespace saddletone;
using plugin::AuditionProcessor;
namespace ids = gui::parameterIds;

namespace {

constexpr double sampleRate = test::PlayedJob::sampleRate;

using Audition = test::PlayedJob;
using test::get;
using test::isAllFinite;
using test::largestDifference;
using test::largestStep;
using test::makeProgramme;
using test::peakOf;
using test::process;
using test::set;
using test::stateFromXml;
using test::stateOf;
using test::Stereo;
using test::waitUntilIdle;

} // namespace

TEST_CASE("Plug-in gives the samples of the engine, to the bit", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::candidate, 3);
    set(audition.processor, ids::speedKmh, 104.5);
    set(audition.processor, ids::outputLevelDb, -3);
    audition.processor.prepareToPlay(sampleRate, 512);
    const Stereo programme = makeProgramme(48000);
    const std::vector<std::size_t> blockSizes {512, 64, 1, 333, 0, 1024};
    const Stereo heard = process(audition.processor, programme, blockSizes);

    const auto request = job::loadSceneRequest(audition.job);
    REQUIRE(request);
    audition::AuditionEngine engine {audition::AuditionEngine::Settings {}};
    engine.prepare({.sampleRate = sampleRate});
    auto scene = audition::buildScene(*request, engine.layout(), sampleRate);
    REQUIRE(scene);
    engine.publish(std::make_unique<audition::AuditionScene>(*std::move(scene)));
    audition::AuditionEngine::Parameters parameters;
    parameters.candidate = 2;
    parameters.ride.speedKmh = get(audition.processor, ids::speedKmh);
    parameters.outputLevelDb = get(audition.processor, ids::outputLevelDb);
    engine.setParameters(parameters);
    engine.reset();
    Stereo expected = programme;
    const dsp::ScopedFlushDenormals flush;
    std::size_t done = 0;
    for (std::size_t block = 0; done < programme[0].size(); ++block) {
        const std::size_t count =
            std::min(blockSizes[block % blockSizes.size()], programme[0].size() - done);
        const std::array<const float*, 2> in {programme[0].data() + done,
                                              programme[1].data() + done};
        const std::array<float*, 2> out {expected[0].data() + done, expected[1].data() + done};
        engine.process({in.data(), 2, count}, {out.data(), 2, count});
        done += count;
    }
    CHECK(peakOf(expected) > 0.001F);
    CHECK(heard == expected);
}

TEST_CASE("Plug-in's output does not depend on how the host cuts the stream", "[plugin][processor]")
{
    Audition audition;
    const Stereo programme = makeProgramme(30000);
    const Stereo even = process(audition.processor, programme, {512});
    audition.processor.prepareToPlay(sampleRate, 512);
    const Stereo uneven = process(audition.processor, programme, {1, 700, 63, 64, 65, 2048, 17});
    CHECK(largestDifference(even, uneven) <= 1e-6F);
}

TEST_CASE("Plug-in has no latency and a tail as long as its kernels", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::speedKmh, 0);
    CHECK(audition.processor.getLatencySamples() == 0);
    CHECK(audition.processor.getTailLengthSeconds()
          == audition::AuditionEngine::Settings {}.maxKernelSeconds);
}

TEST_CASE("A bypassed impulse comes out in the sample it went in", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::bypass, 1);
    audition.processor.prepareToPlay(sampleRate, 512);
    Stereo impulse {std::vector<float>(60000, 0.0F), std::vector<float>(60000, 0.0F)};
    impulse[0][50000] = 0.5F;
    const Stereo heard = process(audition.processor, impulse, {512});
    CHECK(heard[0][50000] != 0.0F);
    for (std::size_t frame = 0; frame < heard[0].size(); ++frame)
        if (frame != 50000)
            REQUIRE(heard[0][frame] == 0.0F);
    CHECK(peakOf({heard[1], heard[1]}) == 0.0F);
}

TEST_CASE("Bypass is the programme at one gain, without bike and noise", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::bypass, 1);
    set(audition.processor, ids::ceilingDbfs, -1);
    audition.processor.prepareToPlay(sampleRate, 512);
    const Stereo programme = makeProgramme(96000, 0.1);
    const Stereo heard = process(audition.processor, programme, {512});
    const double gain = dsp::dbToAmplitude(audition.processor.snapshot().levels.untouchedGainDb);
    for (std::size_t frame = 60000; frame < 61000; ++frame)
        REQUIRE(heard[0][frame]
                == Approx(gain * static_cast<double>(programme[0][frame])).margin(1e-6));
    CHECK(audition.processor.getBypassParameter() != nullptr);
}

TEST_CASE("A mono input is heard in both ears", "[plugin][processor]")
{
    Audition audition;
    juce::AudioProcessor::BusesLayout mono;
    mono.inputBuses.add(juce::AudioChannelSet::mono());
    mono.outputBuses.add(juce::AudioChannelSet::stereo());
    REQUIRE(audition.processor.setBusesLayout(mono));
    set(audition.processor, ids::speedKmh, 0);
    audition.processor.prepareToPlay(sampleRate, 512);
    const Stereo heard = process(audition.processor, makeProgramme(48000), {512}, 1);
    CHECK(peakOf(heard) > 0.001F);
    CHECK(heard[0] == heard[1]);
}

TEST_CASE("Layouts without a stereo output are refused", "[plugin][processor]")
{
    AuditionProcessor processor;
    const auto layout = [](const juce::AudioChannelSet& in, const juce::AudioChannelSet& out) {
        juce::AudioProcessor::BusesLayout buses;
        buses.inputBuses.add(in);
        buses.outputBuses.add(out);
        return buses;
    };
    const auto mono = juce::AudioChannelSet::mono();
    const auto stereo = juce::AudioChannelSet::stereo();
    CHECK(processor.checkBusesLayoutSupported(layout(stereo, stereo)));
    CHECK(processor.checkBusesLayoutSupported(layout(mono, stereo)));
    CHECK_FALSE(processor.checkBusesLayoutSupported(layout(stereo, mono)));
    CHECK_FALSE(processor.checkBusesLayoutSupported(
        layout(juce::AudioChannelSet::create5point1(), stereo)));
    CHECK_FALSE(processor.supportsDoublePrecisionProcessing());
}

TEST_CASE("NaN, Inf and huge input never pass the ceiling", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::speedKmh, 225);
    set(audition.processor, ids::noiseTrimDb, 12);
    set(audition.processor, ids::outputLevelDb, 0);
    set(audition.processor, ids::ceilingDbfs, -20);
    Stereo programme = makeProgramme(96000, 5.0);
    programme[0][70000] = std::numeric_limits<float>::quiet_NaN();
    programme[1][70010] = std::numeric_limits<float>::infinity();
    programme[1][70020] = 1e30F;
    const Stereo heard = process(audition.processor, programme, {512});
    CHECK(isAllFinite(heard));
    CHECK(peakOf(heard) <= static_cast<float>(dsp::dbToAmplitude(-20.0)) * 1.000001F);
    CHECK(peakOf(heard) > 0.05F);
}

TEST_CASE("Without a job the plug-in is quiet about the bike and does not fail",
          "[plugin][processor]")
{
    AuditionProcessor processor;
    processor.prepareToPlay(sampleRate, 512);
    const Stereo heard = process(processor, makeProgramme(10000), {512});
    CHECK(isAllFinite(heard));
    CHECK(processor.snapshot().job == nullptr);
}

TEST_CASE("The first block after preparing already plays the job", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::speedKmh, 0);
    audition.processor.prepareToPlay(sampleRate, 512);
    const Stereo heard = process(audition.processor, makeProgramme(512), {512});
    CHECK(peakOf(heard) > 0.0F);
}

TEST_CASE("A job opens with its own speed and helmet", "[plugin][processor]")
{
    Audition audition;
    CHECK(get(audition.processor, ids::speedKmh) == Approx(80.0));
    CHECK(get(audition.processor, ids::helmet) == 1.0);
    const gui::AuditionSnapshot snapshot = audition.processor.snapshot();
    CHECK(snapshot.job->title == "Made-up job");
    CHECK(snapshot.job->invented);
    REQUIRE(snapshot.job->candidates.size() == 3);
    CHECK(snapshot.job->candidates[2].name == "Touring profile, less boom");
    CHECK(snapshot.job->candidates[0].octaveSplDb.size() == snapshot.job->frequenciesHz.size());
    CHECK(snapshot.ride.parameters.helmet == ride::Helmet::openFace);
    CHECK(snapshot.levelSource == audition::LevelSource::assumed);
}

TEST_CASE("Curves add up to the level that is told", "[plugin][processor]")
{
    // The A-weighted sum of the octave levels is the level of pink noise at the ear; the curve is
    // smoothed over a sixth of an octave, hence the tolerance.
    Audition audition;
    const gui::AuditionSnapshot snapshot = audition.processor.snapshot();
    const auto& view = *snapshot.job;
    double power = 0.0;
    for (std::size_t point = 0; point < view.frequenciesHz.size(); ++point)
        power += dsp::dbToPower(view.candidates[0].octaveSplDb[point]
                                + dsp::weightingDb(dsp::Weighting::a, view.frequenciesHz[point]))
                 / 24.0;
    CHECK(dsp::powerToDb(power) == Approx(snapshot.levels.programmeSplDba).margin(0.5));
}

TEST_CASE("A job that cannot be loaded leaves the old one playing, and the reason is told",
          "[plugin][processor]")
{
    Audition audition;
    const auto before = audition.processor.snapshot().job;
    const Stereo programme = makeProgramme(20000);
    const Stereo heardBefore = process(audition.processor, programme, {512});

    audition.processor.openJob(plugin::toFile(audition.folder.path() / "nothing-here"));
    waitUntilIdle(audition.processor);
    CHECK(audition.processor.snapshot().problem.contains("nothing-here"));
    CHECK(audition.processor.snapshot().job == before);

    std::filesystem::create_directories(audition.folder.path() / "broken");
    std::ofstream(audition.folder.path() / "broken" / "job.json") << "{ \"schemaVersion\": ";
    audition.processor.openJob(plugin::toFile(audition.folder.path() / "broken" / "job.json"));
    waitUntilIdle(audition.processor);
    CHECK(audition.processor.snapshot().problem.contains("job.json"));
    CHECK(audition.processor.snapshot().job == before);

    audition.processor.dismissProblem();
    CHECK(audition.processor.snapshot().problem.isEmpty());
    audition.processor.prepareToPlay(sampleRate, 512);
    CHECK(process(audition.processor, programme, {512}) == heardBefore);
}

TEST_CASE("Candidates are switched without a click", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::speedKmh, 0);
    set(audition.processor, ids::outputLevelDb, 0);
    audition.processor.prepareToPlay(sampleRate, 512);
    Stereo programme = makeProgramme(96000);
    for (auto& channel : programme)
        for (std::size_t frame = 0; frame < channel.size(); ++frame)
            channel[frame] =
                static_cast<float>(0.2
                                   * std::sin(2.0 * 3.14159265358979 * 100.0
                                              * static_cast<double>(frame) / sampleRate));
    const auto part = [&](std::size_t begin, std::size_t end) {
        Stereo piece;
        for (std::size_t channel = 0; channel < 2; ++channel)
            piece[channel].assign(programme[channel].begin() + static_cast<std::ptrdiff_t>(begin),
                                  programme[channel].begin() + static_cast<std::ptrdiff_t>(end));
        return piece;
    };
    static_cast<void>(process(audition.processor, part(0, 72000), {512}));
    const Stereo steadyFirst = process(audition.processor, part(72000, 76800), {512});
    set(audition.processor, ids::candidate, 2);
    const Stereo switching = process(audition.processor, part(76800, 81600), {512});
    const Stereo steadySecond = process(audition.processor, part(81600, 86400), {512});
    // Two equal-power gains sum to at most 1.41; the fade itself moves slowly.
    const float bound = 1.5F * std::max(largestStep(steadyFirst[0]), largestStep(steadySecond[0]));
    CHECK(largestStep(switching[0]) <= bound);
    CHECK(std::abs(switching[0][0] - steadyFirst[0].back()) <= bound);
    CHECK(audition.processor.snapshot().candidate == 1);
}

TEST_CASE("A change of helmet is taken up while playing", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::helmet, 2);
    audition.processor.update();
    CHECK(audition.processor.snapshot().busy);
    waitUntilIdle(audition.processor);
    CHECK(audition.processor.snapshot().ride.parameters.helmet == ride::Helmet::fullFace);
    // The audio thread takes the scene with the next block, and the old one is freed afterwards.
    CHECK(isAllFinite(process(audition.processor, makeProgramme(4800), {512})));
    audition.processor.update();
}

TEST_CASE("A change of sample rate rebuilds the scene", "[plugin][processor]")
{
    Audition audition;
    for (const double rate : {44100.0, 96000.0, 192000.0, 48000.0}) {
        audition.processor.prepareToPlay(rate, 512);
        set(audition.processor, ids::speedKmh, 0);
        const Stereo heard = process(audition.processor,
                                     makeProgramme(static_cast<std::size_t>(rate) * 3 / 2), {512});
        CHECK(isAllFinite(heard));
        CHECK(peakOf(heard) > 0.001F);
        CHECK(audition.processor.snapshot().job != nullptr);
    }
}

TEST_CASE("State comes back whole, with the job", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::candidate, 2);
    set(audition.processor, ids::speedKmh, 123.4);
    set(audition.processor, ids::noiseTrimDb, -4.5);
    set(audition.processor, ids::outputLevelDb, -20.3);
    set(audition.processor, ids::ceilingDbfs, -9);
    set(audition.processor, ids::headphoneSplDb, 113.5);
    set(audition.processor, ids::ceilingDba, 75);
    set(audition.processor, ids::monitor, 2);
    set(audition.processor, ids::levelMatch, 1);
    set(audition.processor, ids::helmet, 0);
    set(audition.processor, ids::bypass, 1);
    audition.processor.setUsesLightLook(true);
    const juce::MemoryBlock state = stateOf(audition.processor);

    AuditionProcessor restored;
    restored.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
    SECTION("in the background")
    {
        waitUntilIdle(restored);
    }
    SECTION("at once when an offline host goes on to prepare")
    {
        restored.prepareToPlay(sampleRate, 512);
    }
    REQUIRE(restored.snapshot().job != nullptr);
    CHECK(restored.snapshot().job->title == "Made-up job");
    CHECK(restored.snapshot().ride.parameters.helmet == ride::Helmet::none);
    CHECK(restored.usesLightLook());
    for (const char* id : {ids::candidate, ids::speedKmh, ids::noiseTrimDb, ids::outputLevelDb,
                           ids::ceilingDbfs, ids::headphoneSplDb, ids::ceilingDba, ids::monitor,
                           ids::levelMatch, ids::helmet, ids::bypass}) {
        INFO(id);
        CHECK(get(restored, id) == Approx(get(audition.processor, id)));
    }
}

TEST_CASE("Garbage and unknown states leave everything as it is", "[plugin][processor]")
{
    Audition audition;
    set(audition.processor, ids::speedKmh, 61);
    const juce::MemoryBlock whole = stateOf(audition.processor);
    const auto jobBefore = audition.processor.snapshot().job;

    std::vector<juce::MemoryBlock> states;
    states.emplace_back();
    states.emplace_back("garbage", 7);
    states.emplace_back(whole.getData(), whole.getSize() / 2);
    states.push_back(stateFromXml("<somethingElse schemaVersion=\"1\"/>"));
    states.push_back(stateFromXml("<saddletone/>"));
    states.push_back(stateFromXml("<saddletone schemaVersion=\"2\" jobFolder=\"/nowhere\">"
                                  "<parameter id=\"speedKmh\" value=\"10\"/></saddletone>"));
    states.push_back(stateFromXml("<saddletone schemaVersion=\"-1\"/>"));
    for (const juce::MemoryBlock& state : states) {
        audition.processor.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
        waitUntilIdle(audition.processor);
        CHECK(get(audition.processor, ids::speedKmh) == Approx(61.0));
        CHECK(audition.processor.snapshot().job == jobBefore);
    }
}

TEST_CASE("Wrong values in a state are kept out one by one", "[plugin][processor]")
{
    AuditionProcessor processor;
    set(processor, ids::outputLevelDb, -30);
    const juce::MemoryBlock state = stateFromXml(
        "<saddletone schemaVersion=\"1\"><parameter id=\"speedKmh\" value=\"1e9\"/>"
        "<parameter id=\"outputLevelDb\" value=\"nan\"/><parameter id=\"unknown\" value=\"1\"/>"
        "<parameter id=\"ceilingDbfs\" value=\"-12\"/></saddletone>");
    processor.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
    CHECK(get(processor, ids::speedKmh) == 225.0);
    CHECK(get(processor, ids::ceilingDbfs) == Approx(-12.0));
    const double level = get(processor, ids::outputLevelDb);
    CHECK(level >= -60.0);
    CHECK(level <= 0.0);
}

TEST_CASE("Every parameter has a name and its text comes back as its value", "[plugin][processor]")
{
    AuditionProcessor processor;
    REQUIRE(processor.getParameters().size() == 15);
    for (juce::AudioProcessorParameter* const parameter : processor.getParameters()) {
        INFO(parameter->getName(64));
        CHECK(parameter->getName(64).isNotEmpty());
        for (const float value : {0.0F, 0.25F, 0.5F, 1.0F}) {
            const juce::String text = parameter->getText(value, 64);
            CHECK(text.isNotEmpty());
            CHECK(parameter->getText(parameter->getValueForText(text), 64) == text);
        }
    }
    const juce::RangedAudioParameter* const speed =
        processor.parameters().getParameter(ids::speedKmh);
    CHECK(speed->getLabel() == "km/h");
    CHECK(speed->convertFrom0to1(speed->getValueForText("50 mph"))
          == Approx(80.4672F).margin(1e-3));
    CHECK(speed->convertFrom0to1(speed->getValueForText("80,5 km/h"))
          == Approx(80.5F).margin(1e-3));
    const juce::RangedAudioParameter* const candidate =
        processor.parameters().getParameter(ids::candidate);
    CHECK(candidate->getText(candidate->convertTo0to1(8.0F), 8) == "8");
}

TEST_CASE("Processing allocates nothing, whatever changes", "[plugin][processor]")
{
    Audition audition;
    juce::AudioBuffer<float> buffer(2, 512);
    juce::MidiBuffer midi;
    set(audition.processor, ids::helmet, 2);
    audition.processor.update();
    waitUntilIdle(audition.processor); // a new scene is waiting to be taken
    std::size_t allocations = 0;
    for (int block = 0; block < 200; ++block) {
        if (block == 60)
            set(audition.processor, ids::candidate, 3);
        if (block == 100)
            set(audition.processor, ids::speedKmh, 140);
        if (block == 140)
            set(audition.processor, ids::bypass, 1);
        for (int frame = 0; frame < 512; ++frame)
            buffer.setSample(0, frame, frame % 50 == 0 ? 0.3F : 0.0F);
        buffer.copyFrom(1, 0, buffer, 0, 0, 512);
        const test::AllocationCounter counter;
        audition.processor.processBlock(buffer, midi);
        allocations += counter.count();
    }
    CHECK(allocations == 0);
}

TEST_CASE("Blocks of no frames and larger than announced are fine", "[plugin][processor]")
{
    Audition audition;
    juce::MidiBuffer midi;
    juce::AudioBuffer<float> empty(2, 0);
    audition.processor.processBlock(empty, midi);
    const Stereo heard = process(audition.processor, makeProgramme(20000), {16000, 0, 1});
    CHECK(isAllFinite(heard));
}

TEST_CASE("A processor can go while it is still loading", "[plugin][processor]")
{
    test::TemporaryFolder folder;
    const job::Job job = test::writeMadeUpJob(folder.path() / "job", "Made-up job");
    for (int repeat = 0; repeat < 5; ++repeat) {
        AuditionProcessor processor;
        processor.openJob(plugin::toFile(job.folder));
        processor.openJob(plugin::toFile(job.folder));
    }
    SUCCEED();
}

TEST_CASE("The standalone plays its own programme and needs no input", "[plugin][processor]")
{
    test::TemporaryFolder folder;
    const job::Job job = test::writeMadeUpJob(folder.path() / "job", "Made-up job");
    test::writeRampFile(folder.path() / "ramp.wav", sampleRate, 2, 48000);
    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Standalone);
    AuditionProcessor processor;
    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Undefined);
    processor.setPlayConfigDetails(0, 2, sampleRate, 512);
    processor.openJob(plugin::toFile(job.folder));
    processor.openProgramme(plugin::toFile(folder.path() / "ramp.wav"));
    waitUntilIdle(processor);
    processor.prepareToPlay(sampleRate, 512);
    set(processor, ids::speedKmh, 0);
    static_cast<void>(process(processor, makeProgramme(4800), {512}));
    processor.play();
    CHECK(peakOf(process(processor, makeProgramme(24000), {512})) > 0.0F);
    const gui::AuditionSnapshot snapshot = processor.snapshot();
    CHECK(snapshot.player.available);
    CHECK(snapshot.player.title == "ramp.wav");
    CHECK(snapshot.player.positionSeconds > 0.4);
    processor.openProgramme(plugin::toFile(folder.path() / "missing.wav"));
    waitUntilIdle(processor);
    CHECK(processor.snapshot().problem.contains("missing.wav"));
    CHECK(processor.snapshot().player.title == "ramp.wav");
}
