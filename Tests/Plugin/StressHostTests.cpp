// A host that does everything at once, on the real processor: an audio thread with random blocks and
// rates against a thread that storms parameters, restores states, opens and edits jobs, chooses
// programs and lets kernels be swapped. `--stress-minutes` and `--stress-seed` make it another run.
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Plugin/RidePrograms.h"
#include "Support/LockCounter.h"
#include "Support/PlayedJob.h"
#include "Support/PluginAllocationCounter.h"
#include "Support/StressOptions.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <iostream>
#include <limits>
#include <numbers>
#include <thread>

using namespace saddletone;
using plugin::AuditionProcessor;
namespace ids = gui::parameterIds;

namespace {

constexpr double highestCeilingDbfs = -1.0;
constexpr double toneHz = 100.0;

/** Figures of the audio thread; read when it has ended. */
struct Findings {
    std::size_t numBlocks = 0;
    std::size_t numFrames = 0;
    std::size_t numAllocations = 0;
    std::size_t numLocks = 0;
    std::size_t numNotFinite = 0;
    std::size_t numOverCeiling = 0;
    std::size_t numCeilingsHeld = 0; ///< Blocks held against the very ceiling that was set.
    double seconds = 0.0;            ///< Of audio.
    double busySeconds = 0.0;
    double worstLoad = 0.0; ///< Time over duration, of blocks of at least 64 frames.
    // Of segments with a tone:
    double worstStepOverBound = 0.0;
    float loudestTone = 0.0F;
};

/** The listener's and the host's part. */
class Storm {
public:
    Storm(AuditionProcessor& stormedProcessor, std::uint64_t seed)
        : processor(stormedProcessor), random(seed)
    {
        job::Job first = test::writeMadeUpJob(folder.path() / "first", "First");
        job::Job second = test::writeMadeUpJob(folder.path() / "second", "Second");
        second.ride.helmet = ride::Helmet::none;
        second.ride.speedKmh = 30.0;
        std::swap(second.candidates[0], second.candidates[2]);
        REQUIRE(job::saveJob(second));
        folders = {first.folder, second.folder};
        // States of a job each, of none, and a damaged one; none has the noise on, which would be
        // heard in segments with a tone.
        for (const std::filesystem::path& each :
             {folders[0], folders[1], std::filesystem::path()}) {
            AuditionProcessor other;
            if (!each.empty())
                other.openJob(plugin::toFile(each));
            test::waitUntilIdle(other);
            settle(other);
            states.push_back(test::stateOf(other));
        }
        states.emplace_back("garbage", 7);
    }

    /** What segments with a tone start from: sound of the programme alone, which the ceilings do
        not have to hold down. */
    static void settle(AuditionProcessor& settled)
    {
        test::set(settled, ids::monitor, 1.0);
        test::set(settled, ids::ceilingDbfs, highestCeilingDbfs);
        test::set(settled, ids::headphoneSplDb, 80.0); // not known: no ceiling at the ear
        test::set(settled, ids::outputLevelDb, -30.0);
        test::set(settled, ids::radioVolumeDb, 0.0);
        test::set(settled, ids::noiseTrimDb, 0.0);
    }

    void openFirst() { processor.openJob(plugin::toFile(folders[0])); }

    /** One thing that a listener or host does. isTone: nothing that makes sound of its own, and
        nothing that the ceiling has to hold down. */
    void act(bool isTone)
    {
        const double what = random.nextUniform();
        if (what < 0.30)
            moveParameter(isTone);
        else if (what < 0.50)
            set(ids::candidate, 1.0 + std::floor(3.0 * random.nextUniform()));
        else if (what < 0.85)
            processor.update();
        else if (what < 0.88)
            set(ids::helmet, std::floor(3.0 * random.nextUniform()));
        else if (what < 0.91)
            processor.setCurrentProgram(static_cast<int>(
                random.nextUniform() * static_cast<double>(plugin::ridePrograms.size())));
        else if (what < 0.94)
            static_cast<void>(processor.snapshot());
        else if (what < 0.96)
            processor.openJob(plugin::toFile(folders[random.nextBits() % 2]));
        else if (what < 0.98)
            edit();
        else
            restore();
    }

    /** Odd while the ceiling is being changed; another number afterwards. */
    std::atomic<std::uint64_t> ceilingVersion {0};

private:
    void set(const char* id, double value) { test::set(processor, id, value); }

    template <typename Change>
    void changeCeiling(Change change)
    {
        ++ceilingVersion;
        change();
        ++ceilingVersion;
    }

    void moveParameter(bool isTone)
    {
        if (isTone) {
            switch (random.nextBits() % 4) {
            case 0: set(ids::outputLevelDb, -40.0 + 12.0 * random.nextUniform()); break;
            case 1: set(ids::speedKmh, 225.0 * random.nextUniform()); break;
            case 2: set(ids::levelMatch, std::floor(2.0 * random.nextUniform())); break;
            default: set(ids::bypass, std::floor(2.0 * random.nextUniform()));
            }
            return;
        }
        const auto& all = processor.getParameters();
        auto* const parameter =
            all[static_cast<int>(random.nextBits() % static_cast<std::uint64_t>(all.size()))];
        const auto value = static_cast<float>(random.nextUniform());
        changeCeiling([&] { parameter->setValueNotifyingHost(value); });
    }

    void edit()
    {
        const auto open = processor.openedJob().loaded;
        if (open == nullptr)
            return;
        auto edited = std::make_shared<plugin::LoadedJob>(*open);
        std::swap(edited->job.candidates[0], edited->job.candidates[1]);
        std::swap(edited->request.candidates[0], edited->request.candidates[1]);
        processor.playEdited(std::move(edited));
    }

    void restore()
    {
        const juce::MemoryBlock& state = states[random.nextBits() % states.size()];
        changeCeiling([&] { test::restore(processor, state); });
    }

    AuditionProcessor& processor;
    dsp::RandomSource random;
    test::TemporaryFolder folder;
    std::array<std::filesystem::path, 2> folders;
    std::vector<juce::MemoryBlock> states;
};

/** Plays a segment at one rate. In a tone the step from sample to sample is bounded: see below. */
void playSegment(AuditionProcessor& processor, Storm& storm, double rate, double seconds,
                 bool isTone, std::uint64_t seed, Findings& findings)
{
    dsp::RandomSource random(seed);
    juce::AudioBuffer<float> buffer(2, 8192);
    juce::MidiBuffer midi;
    std::array<float, 2> before {};
    double largestStep = 0.0;
    float loudest = 0.0F;
    const auto numFrames = static_cast<std::size_t>(seconds * rate);
    for (std::size_t done = 0; done < numFrames;) {
        static constexpr std::array<int, 8> usual {0, 1, 16, 64, 127, 512, 1024, 8192};
        const int count = random.nextUniform() < 0.7 ? usual[random.nextBits() % usual.size()]
                                                     : static_cast<int>(random.nextBits() % 2000);
        buffer.setSize(2, count, false, false, true);
        for (int channel = 0; channel < 2; ++channel)
            for (int frame = 0; frame < count; ++frame) {
                const double time =
                    static_cast<double>(done + static_cast<std::size_t>(frame)) / rate;
                buffer.setSample(
                    channel, frame,
                    isTone
                        ? static_cast<float>(0.1 * std::sin(2.0 * std::numbers::pi * toneHz * time))
                        : static_cast<float>(0.3 * (2.0 * random.nextUniform() - 1.0)));
            }
        if (!isTone && count > 0 && random.nextUniform() < 0.05)
            buffer.setSample(static_cast<int>(random.nextBits() % 2),
                             static_cast<int>(random.nextBits() % static_cast<unsigned>(count)),
                             std::array {std::numeric_limits<float>::quiet_NaN(),
                                         std::numeric_limits<float>::infinity(), -1e30F,
                                         900.0F}[random.nextBits() % 4]);
        const bool isBypassed = random.nextUniform() < 0.02;

        const std::uint64_t versionBefore = storm.ceilingVersion.load();
        const double ceilingDbfs = test::get(processor, ids::ceilingDbfs);
        const test::AllocationCounter allocations;
        const test::LockCounter locks;
        const auto start = std::chrono::steady_clock::now();
        if (isBypassed)
            processor.processBlockBypassed(buffer, midi);
        else
            processor.processBlock(buffer, midi);
        const double taken =
            std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
        findings.numAllocations += allocations.count();
        findings.numLocks += locks.numLocks();
        const bool isCeilingKnown =
            versionBefore % 2 == 0 && storm.ceilingVersion.load() == versionBefore;

        const auto bound = static_cast<float>(
            dsp::dbToAmplitude(isCeilingKnown ? ceilingDbfs : highestCeilingDbfs));
        for (int channel = 0; channel < 2; ++channel)
            for (int frame = 0; frame < count; ++frame) {
                const float sample = buffer.getSample(channel, frame);
                if (!std::isfinite(sample))
                    ++findings.numNotFinite;
                if (std::abs(sample) > bound * 1.000001F)
                    ++findings.numOverCeiling;
                float& last = before[static_cast<std::size_t>(channel)];
                largestStep = std::max(
                    largestStep, std::abs(static_cast<double>(sample) - static_cast<double>(last)));
                loudest = std::max(loudest, std::abs(sample));
                last = sample;
            }
        ++findings.numBlocks;
        findings.numCeilingsHeld += isCeilingKnown ? 1 : 0;
        findings.busySeconds += taken;
        if (count >= 64)
            findings.worstLoad = std::max(findings.worstLoad, taken * rate / count);
        done += static_cast<std::size_t>(count);
    }
    findings.numFrames += numFrames;
    findings.seconds += seconds;
    if (!isTone)
        return;
    // Of an output that is nowhere larger than A, a tone makes steps of up to A w, w being its
    // angle per sample. Two voices that fade into each other with a sine and a cosine over N
    // samples add up to A pi / N, as each is at most A and its gain moves by at most pi / 2N a
    // sample; the linear glides of level, monitor and bypass over M samples up to 4 A / M in all.
    const audition::AuditionEngine::Settings settings;
    const double allowed =
        static_cast<double>(loudest)
        * (2.0 * std::numbers::pi * toneHz / rate + std::numbers::pi / (settings.fadeSeconds * rate)
           + 4.0 / (settings.glideSeconds * rate));
    findings.loudestTone = std::max(findings.loudestTone, loudest);
    if (loudest > 0.0F)
        findings.worstStepOverBound = std::max(findings.worstStepOverBound, largestStep / allowed);
}

} // namespace

TEST_CASE("Ten minutes of a host that does everything at once harm nothing", "[plugin][stress]")
{
    const test::StressOptions& options = test::stressOptions();
    CAPTURE(options.seed);
    AuditionProcessor processor;
    Storm storm(processor, options.seed);
    storm.openFirst();
    test::waitUntilIdle(processor);

    dsp::RandomSource random(options.seed + 1);
    Findings findings;
    std::size_t numActs = 0;
    const double wantedSeconds = 60.0 * options.minutes;
    for (std::size_t segment = 0; findings.seconds < wantedSeconds; ++segment) {
        static constexpr std::array<double, 10> rates {44100.0,  48000.0, 44100.0, 48000.0,
                                                       88200.0,  44100.0, 48000.0, 96000.0,
                                                       176400.0, 192000.0};
        const double rate = rates[segment % rates.size()];
        const bool isTone = segment % 3 == 1;
        // As long at every rate for the processor; ten rates are ten minutes or less.
        const double seconds = std::min(wantedSeconds - findings.seconds, 30.0 * 48000.0 / rate);
        if (isTone)
            Storm::settle(processor);
        processor.prepareToPlay(rate, static_cast<int>(1 + random.nextBits() % 1024));
        std::atomic<bool> hasEnded {false};
        std::thread audioThread([&, seed = random.nextBits()] {
            playSegment(processor, storm, rate, seconds, isTone, seed, findings);
            hasEnded.store(true);
        });
        while (!hasEnded.load()) {
            storm.act(isTone);
            ++numActs;
            std::this_thread::sleep_for(std::chrono::microseconds(random.nextBits() % 1000));
        }
        audioThread.join();
    }
    processor.update();

    CHECK(findings.numAllocations == 0);
    if (test::LockCounter::isAvailable())
        CHECK(findings.numLocks == 0);
    CHECK(findings.numNotFinite == 0);
    CHECK(findings.numOverCeiling == 0);
    CHECK(findings.worstStepOverBound <= 1.0);
    // It did happen.
    CHECK(findings.loudestTone > 1e-4F);
    CHECK(findings.numCeilingsHeld > findings.numBlocks / 2);
    const double mean = findings.busySeconds / findings.seconds;
    std::cout << "Stress host, seed " << options.seed << ": " << findings.seconds
              << " s of audio in " << findings.numBlocks << " blocks against " << numActs
              << " acts. Processing took " << 100.0 * mean
              << " % of the time in the mean; the worst block of 64 frames or more took "
              << 100.0 * findings.worstLoad << " % (on a machine shared with the other thread). "
              << "Largest step in a tone: " << 100.0 * findings.worstStepOverBound
              << " % of the bound.\n";
}
