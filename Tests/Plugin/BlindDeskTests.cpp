#include "Core/Job/BlindRuns.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/BlindDesk.h"
#include "Plugin/Paths.h"
#include "Support/BlindRig.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <cmath>
#include <filesystem>
#include <thread>

using namespace saddletone;
using audition::BlindKind;
using gui::BlindStage;
using test::BlindRig;
namespace ids = gui::parameterIds;

namespace {

using Stereo = std::array<std::vector<float>, 2>;

/** Longer than switch, kernel and glides, so that nothing of before is heard any more. */
constexpr std::size_t longEnough = 96000;

void set(BlindRig& rig, const char* id, double value)
{
    gui::setParameter(rig.processor->parameters(), id, value);
}

gui::BlindChoice abxOf(std::size_t first, std::size_t second)
{
    gui::BlindChoice choice;
    choice.candidates = {first, second};
    choice.numTrials = 12;
    return choice;
}

/** The last of what is heard after a while; the ride noise is left out, as it never repeats. */
Stereo settledSound(BlindRig& rig)
{
    Stereo heard = rig.play(longEnough);
    for (auto& ear : heard)
        ear.erase(ear.begin(), ear.end() - 4800);
    return heard;
}

double differenceDb(const Stereo& first, const Stereo& second)
{
    double difference = 0.0;
    double level = 0.0;
    for (std::size_t ear = 0; ear < 2; ++ear)
        for (std::size_t frame = 0; frame < first[ear].size(); ++frame) {
            const auto sample = static_cast<double>(first[ear][frame]);
            difference += std::pow(sample - static_cast<double>(second[ear][frame]), 2.0);
            level += sample * sample;
        }
    return 10.0 * std::log10(difference / level + 1e-30);
}

void answerAll(BlindRig& rig, std::size_t numPlaces)
{
    while (rig.desk().isRunning()) {
        for (std::size_t place = 0; place < numPlaces; ++place)
            rig.desk().listenTo(place);
        rig.play(480);
        rig.desk().answer(0);
    }
}

juce::MemoryBlock stateOf(BlindRig& rig)
{
    juce::MemoryBlock state;
    rig.processor->getStateInformation(state);
    return state;
}

} // namespace

TEST_CASE("What is heard at each place is what the stored order says", "[plugin][blind]")
{
    BlindRig rig;
    set(rig, ids::monitor, 1); // programme only
    set(rig, ids::speedKmh, 0);
    set(rig, ids::levelMatch, 1);
    // Openly, candidate by candidate; what plays is not the same moment, but the same noise again.
    std::array<Stereo, 3> openly;
    for (std::size_t candidate = 0; candidate < 3; ++candidate) {
        set(rig, ids::candidate, static_cast<double>(candidate) + 1.0);
        openly[candidate] = settledSound(rig);
    }
    CHECK(differenceDb(openly[0], openly[1]) > -20.0);
    CHECK(differenceDb(openly[1], openly[2]) > -20.0);

    set(rig, ids::candidate, 1.0);
    gui::BlindChoice choice;
    choice.kind = BlindKind::preference;
    choice.candidates = {0, 1, 2};
    choice.numTrials = 12;
    rig.desk().begin(choice);
    REQUIRE(rig.desk().isRunning());
    std::array<Stereo, 3> blindly;
    for (std::size_t place = 0; place < 3; ++place) {
        rig.desk().listenTo(place);
        blindly[place] = settledSound(rig);
    }
    answerAll(rig, 3);
    const auto runs = rig.storedRuns();
    REQUIRE(runs.size() == 1);
    const auto& order = runs[0].trials[0].order;
    for (std::size_t place = 0; place < 3; ++place)
        // Floats that are summed along another way.
        CHECK(differenceDb(blindly[place], openly[order[place]]) < -90.0);
    // Over: what the parameter says is heard again.
    CHECK(differenceDb(settledSound(rig), openly[0]) < -90.0);
}

TEST_CASE("Neither host nor screen can see what a blind test plays", "[plugin][blind]")
{
    BlindRig rig;
    set(rig, ids::candidate, 2.0);
    rig.play(4800);
    rig.desk().begin(abxOf(0, 2));
    REQUIRE(rig.desk().isRunning());
    const juce::MemoryBlock state = stateOf(rig);
    std::optional<gui::AuditionSnapshot> first;
    for (std::size_t trial = 0; trial < 6; ++trial) {
        for (std::size_t place = 0; place < 3; ++place) {
            rig.desk().listenTo(place);
            rig.play(9600);
            rig.processor->update();
            const gui::AuditionSnapshot snapshot = rig.processor->snapshot();
            if (!first)
                first = snapshot;
            CHECK(gui::parameterValue(rig.processor->parameters(), ids::candidate) == 2.0);
            CHECK(stateOf(rig) == state);
            CHECK(snapshot.job == first->job);
            CHECK(snapshot.candidate == 1);
            CHECK(snapshot.levels == first->levels);
            CHECK(snapshot.levelSource == first->levelSource);
            CHECK(snapshot.outputPeakDbfs <= -300.0);
            CHECK(snapshot.ceilingGainDb == 0.0);

            // All that the view tells is where the listener has been.
            gui::BlindView view = rig.desk().blindView();
            CHECK(view.headline.isEmpty());
            CHECK(view.sentences.isEmpty());
            CHECK(view.storeWords.isEmpty());
            for (const auto& candidate : rig.processor->snapshot().job->candidates)
                CHECK_FALSE(view.conditions.contains(candidate.name));
            gui::BlindView expected;
            expected.stage = BlindStage::running;
            expected.conditions = view.conditions;
            expected.numTrials = 12;
            expected.numAnswered = trial;
            expected.place = place;
            for (std::size_t each = 0; each < 3; ++each)
                expected.hasHeard.push_back(each <= place);
            expected.canAnswer = place == 2;
            CHECK(view == expected);
        }
        CHECK(rig.storedRuns().empty());
        rig.desk().answer(trial % 2);
    }
}

TEST_CASE("Nothing that is set while a blind test runs changes its conditions", "[plugin][blind]")
{
    BlindRig rig;
    set(rig, ids::monitor, 1);
    set(rig, ids::speedKmh, 0);
    rig.desk().begin(abxOf(0, 1));
    rig.desk().listenTo(1);
    const Stereo before = settledSound(rig);
    set(rig, ids::candidate, 3.0);
    set(rig, ids::speedKmh, 120.0);
    set(rig, ids::monitor, 2);
    set(rig, ids::levelMatch, 0);
    set(rig, ids::helmet, 0);
    rig.settle();
    REQUIRE(rig.desk().isRunning());
    CHECK(differenceDb(settledSound(rig), before) < -90.0);
    answerAll(rig, 3);
    const auto runs = rig.storedRuns();
    REQUIRE(runs.size() == 1);
    CHECK(runs[0].conditions.speedKmh == 0.0);
    CHECK(runs[0].conditions.monitor == audition::Monitor::programmeOnly);
    CHECK(runs[0].conditions.match == audition::LevelMatch::equalLoudness);
    CHECK(runs[0].conditions.helmet == ride::Helmet::openFace);
    // What was set meanwhile counts now.
    rig.settle();
    CHECK(rig.processor->snapshot().ride.parameters.helmet == ride::Helmet::none);
}

TEST_CASE("A complete run is kept in the job with what was played", "[plugin][blind]")
{
    BlindRig rig;
    set(rig, ids::speedKmh, 80.0);
    rig.desk().begin(abxOf(1, 2));
    answerAll(rig, 3);
    const gui::BlindView view = rig.desk().blindView();
    CHECK(view.stage == BlindStage::over);
    CHECK(view.isStored);
    CHECK(view.headline.isNotEmpty());
    const auto runs = rig.storedRuns();
    REQUIRE(runs.size() == 1);
    const audition::BlindRun& run = runs[0];
    CHECK_FALSE(run.isAbandoned);
    CHECK(run.trials.size() == 12);
    CHECK(audition::hasOrderOfItsSeed(run));
    CHECK(run.startedAt.size() >= 19);
    REQUIRE(run.candidates.size() == 2);
    CHECK(run.candidates[0].name == "Touring profile");
    CHECK(run.candidates[1].name == "Touring profile, less boom");
    CHECK(run.candidates[1].stateId == "touring");
    CHECK(run.candidates[0].tuning.chains.empty());
    CHECK(run.candidates[1].tuning.chains.size() == 1);
    const auto& candidates = rig.processor->heard().scene->scene.candidates;
    CHECK(run.candidates[1].matchGainDb == Approx(candidates[2].matchGainDb).margin(1e-12));
    CHECK(run.conditions.programme.empty()); // the host's track
    CHECK(run.conditions.speedKmh == Approx(80.0).margin(1e-3));
    // Another run has an order of its own, behind the first.
    rig.desk().dismiss();
    CHECK(rig.desk().blindView().stage == BlindStage::idle);
    rig.desk().begin(abxOf(1, 2));
    answerAll(rig, 3);
    REQUIRE(rig.storedRuns().size() == 2);
    CHECK(rig.storedRuns()[1].seed != run.seed);
    CHECK(rig.storedRuns()[0] == run);
}

TEST_CASE("A run ends as abandoned when it is left, at the end of the program and with its job",
          "[plugin][blind]")
{
    BlindRig rig;
    const auto answerThree = [&] {
        rig.desk().begin(abxOf(0, 1));
        for (int trial = 0; trial < 3; ++trial) {
            rig.desk().listenTo(2);
            rig.play(480);
            rig.desk().answer(0);
        }
        REQUIRE(rig.desk().isRunning());
    };
    answerThree();
    rig.desk().abandon();
    CHECK(rig.desk().blindView().stage == BlindStage::over);
    CHECK(rig.desk().blindView().headline.contains("Abandoned after 3 of 12"));
    rig.desk().dismiss();

    answerThree();
    rig.processor->openJob(plugin::toFile(rig.job.folder));
    rig.settle();
    CHECK_FALSE(rig.desk().isRunning());
    CHECK(rig.desk().blindView().sentences[0].contains("changed while the test ran"));
    rig.desk().dismiss();

    answerThree();
    // A new sample rate is not another job.
    rig.processor->prepareToPlay(44100.0, 256);
    rig.settle();
    CHECK(rig.desk().isRunning());
    rig.processor.reset();
    const auto runs = rig.storedRuns();
    REQUIRE(runs.size() == 3);
    for (const audition::BlindRun& run : runs) {
        CHECK(run.isAbandoned);
        CHECK(run.trials.size() == 3);
    }
}

TEST_CASE("A run that could not be kept can be kept later", "[plugin][blind]")
{
    BlindRig rig;
    rig.desk().begin(abxOf(0, 1));
    const auto file = rig.job.folder / "job.json";
    std::filesystem::rename(file, rig.job.folder / "away.json");
    answerAll(rig, 3);
    gui::BlindView view = rig.desk().blindView();
    CHECK_FALSE(view.isStored);
    CHECK(view.storeWords.contains("job.json"));
    rig.desk().storeAgain();
    CHECK_FALSE(rig.desk().blindView().isStored);
    std::filesystem::rename(rig.job.folder / "away.json", file);
    rig.desk().storeAgain();
    CHECK(rig.desk().blindView().isStored);
    rig.desk().storeAgain();
    CHECK(rig.storedRuns().size() == 1);
}

TEST_CASE("What stands in the way of a blind test is said", "[plugin][blind]")
{
    {
        plugin::AuditionProcessor empty;
        CHECK(empty.blindTests().blindView().obstacle.contains("Open a job"));
    }
    BlindRig rig;
    CHECK(rig.desk().blindView().obstacle.isEmpty());
    set(rig, ids::bypass, 1.0);
    CHECK(rig.desk().blindView().obstacle.contains("Bypass"));
    rig.desk().begin(abxOf(0, 1));
    CHECK_FALSE(rig.desk().isRunning());
    set(rig, ids::bypass, 0.0);
    set(rig, ids::monitor, 2);
    CHECK(rig.desk().blindView().obstacle.contains("noise"));
    set(rig, ids::monitor, 0);
    rig.desk().begin(abxOf(0, 7)); // there is no such candidate
    CHECK_FALSE(rig.desk().isRunning());
    gui::BlindChoice three;
    three.candidates = {0, 1, 2};
    rig.desk().begin(three); // ABX is about two
    CHECK_FALSE(rig.desk().isRunning());
    CHECK(rig.storedRuns().empty());
}

TEST_CASE("Nobody can answer where no audio is asked for", "[plugin][blind]")
{
    BlindRig rig;
    rig.desk().begin(abxOf(0, 1));
    rig.desk().listenTo(2);
    rig.play(480);
    CHECK(rig.desk().blindView().canAnswer);
    std::this_thread::sleep_for(std::chrono::milliseconds(2100));
    CHECK(rig.desk().blindView().silence.contains("does not play"));
    CHECK_FALSE(rig.desk().blindView().canAnswer);
    rig.desk().answer(0);
    CHECK(rig.desk().blindView().numAnswered == 0);
    rig.play(480);
    rig.desk().answer(0);
    CHECK(rig.desk().blindView().numAnswered == 1);
}

TEST_CASE("With a programme of its own a run knows which part of it was heard", "[plugin][blind]")
{
    const test::TemporaryFolder folder;
    const auto made = test::writeMadeUpJob(folder.path() / "job", "Made-up job");
    test::writeRampFile(folder / "ride.wav", 48000.0, 2, 480000);
    test::writeRampFile(folder / "other.wav", 48000.0, 2, 48000);
    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Standalone);
    plugin::AuditionProcessor processor;
    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Undefined);
    plugin::BlindDesk& desk = processor.blindTests();
    CHECK(desk.blindView().obstacle.contains("Open a job"));
    const auto settle = [&] {
        const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
        do {
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
            processor.update();
        } while (processor.snapshot().busy && std::chrono::steady_clock::now() < giveUp);
        REQUIRE_FALSE(processor.snapshot().busy);
    };
    const auto play = [&](int numBlocks) {
        juce::MidiBuffer midi;
        juce::AudioBuffer<float> buffer(2, 480);
        for (int block = 0; block < numBlocks; ++block)
            processor.processBlock(buffer, midi);
        processor.update();
    };
    processor.openJob(plugin::toFile(made.folder));
    processor.prepareToPlay(48000.0, 480);
    settle();
    CHECK(desk.blindView().obstacle.contains("no music"));
    processor.openProgramme(plugin::toFile(folder / "ride.wav"));
    settle();
    REQUIRE(desk.blindView().obstacle.isEmpty());
    CHECK(desk.blindView().conditions.contains("ride.wav"));

    processor.setPositionSeconds(2.0);
    play(10);
    desk.begin(abxOf(0, 1));
    CHECK(processor.snapshot().player.playing);
    play(100);
    // Nobody can answer while it is paused.
    desk.listenTo(2);
    processor.pause();
    CHECK(desk.blindView().silence.contains("paused"));
    CHECK_FALSE(desk.blindView().canAnswer);
    desk.answer(0);
    CHECK(desk.blindView().numAnswered == 0);
    processor.play();
    CHECK(desk.blindView().silence.isEmpty());
    while (desk.isRunning()) {
        desk.listenTo(2);
        play(10);
        desk.answer(0);
    }
    const auto runs = [&] {
        const auto loaded = job::loadJob(made.folder);
        REQUIRE(loaded);
        const auto read = job::blindRunsOf(*loaded);
        REQUIRE(read);
        return *read;
    };
    REQUIRE(runs().size() == 1);
    const audition::BlindConditions conditions = runs()[0].conditions;
    CHECK(conditions.programme == "ride.wav"); // and not the folder it lies in
    REQUIRE((conditions.programmeFromSeconds && conditions.programmeToSeconds));
    // From 2 s on; 100 blocks of 10 ms before the first answer and 10 before each.
    CHECK(*conditions.programmeFromSeconds >= 2.0);
    CHECK(*conditions.programmeFromSeconds <= 3.1);
    CHECK(*conditions.programmeToSeconds == Approx(4.2).margin(0.11));

    desk.dismiss();
    desk.begin(abxOf(0, 1));
    REQUIRE(desk.isRunning());
    processor.openProgramme(plugin::toFile(folder / "other.wav"));
    settle();
    processor.update();
    CHECK_FALSE(desk.isRunning());
    CHECK(desk.blindView().sentences[0].contains("programme was changed"));
    CHECK(runs()[1].isAbandoned);
}
