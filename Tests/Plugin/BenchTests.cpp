#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Job/Job.h"
#include "Core/Job/StateRemoval.h"
#include "Core/Signals/TrackSet.h"
#include "Plugin/Paths.h"
#include "Support/BenchRig.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <thread>

using namespace saddletone;
using plugin::Bench;
using Session = test::BenchRig;
using test::SimulatedRoom;

namespace {

constexpr double rate = test::benchSampleRate;

float peakOf(const std::vector<float>& samples)
{
    float peak = 0.0F;
    for (const float sample : samples)
        peak = std::max(peak, std::abs(sample));
    return peak;
}

std::size_t indexOf(const gui::BenchSnapshot& snapshot, const juce::String& word)
{
    for (std::size_t index = 0; index < snapshot.signals->size(); ++index)
        if ((*snapshot.signals)[index].name.containsIgnoreCase(word))
            return index;
    FAIL("no signal called " << word);
    return 0;
}

} // namespace

TEST_CASE("Signals lists the shop's tracks with plain words", "[plugin][bench]")
{
    const Session session;
    const gui::BenchSnapshot snapshot = session.bench->benchSnapshot();
    REQUIRE(snapshot.signals != nullptr);
    CHECK(snapshot.signals->size() == signals::shopTracks(44100.0).size());
    for (const gui::SignalView& signal : *snapshot.signals) {
        CHECK(signal.name.isNotEmpty());
        CHECK(signal.purpose.length() > 20);
        CHECK((signal.length.endsWith(" s") || signal.length.endsWith(" s a tone")));
    }
}

TEST_CASE("Live output starts at -40 dBFS and plays the level it shows", "[plugin][bench]")
{
    Session session;
    session.bench->enterPlace(gui::Place::signals);
    CHECK(session.numPauses > 0);
    session.bench->selectSignal(indexOf(session.bench->benchSnapshot(), "tone 1 khz"));
    session.settle();
    CHECK(session.bench->benchSnapshot().output.levelDbfs == -40.0);
    session.bench->playSignal();
    session.device().run(1.0);
    // A sine of AES17 level L has its peaks at L.
    CHECK(dsp::amplitudeToDb(static_cast<double>(peakOf(session.device().run(0.5))))
          == Approx(-40.0).margin(0.05));
    CHECK(session.bench->benchSnapshot().output.playing);

    session.bench->setSignalSide(gui::OutputSide::right);
    session.device().run(1.0);
    CHECK(peakOf(session.device().run(0.1)) < 1e-6F);

    session.bench->stopSignal();
    session.device().run(0.2);
    CHECK(peakOf(session.device().run(0.1)) == 0.0F);
    CHECK_FALSE(session.bench->benchSnapshot().output.playing);
}

TEST_CASE("Levels above -12 dBFS are asked about once a session", "[plugin][bench]")
{
    const Session session;
    Bench& bench = *session.bench;
    bench.setSignalLevelDbfs(-12.0);
    CHECK_FALSE(bench.benchSnapshot().output.asksForLoud);
    bench.setSignalLevelDbfs(-3.0);
    CHECK(bench.benchSnapshot().output.asksForLoud);
    CHECK(bench.benchSnapshot().output.levelDbfs == -12.0);

    bench.answerLoudQuestion(false);
    CHECK_FALSE(bench.benchSnapshot().output.asksForLoud);
    CHECK(bench.benchSnapshot().output.levelDbfs == -12.0);

    bench.setSignalLevelDbfs(-6.0);
    bench.enterPlace(gui::Place::bike);
    CHECK_FALSE(bench.benchSnapshot().output.asksForLoud);
    bench.enterPlace(gui::Place::signals);
    CHECK(bench.benchSnapshot().output.levelDbfs == -12.0);

    bench.setSignalLevelDbfs(-6.0);
    REQUIRE(bench.benchSnapshot().output.asksForLoud);
    bench.answerLoudQuestion(true);
    CHECK(bench.benchSnapshot().output.levelDbfs == -6.0);
    bench.setSignalLevelDbfs(-20.0);
    bench.setSignalLevelDbfs(-2.0);
    CHECK_FALSE(bench.benchSnapshot().output.asksForLoud);
    CHECK(bench.benchSnapshot().output.levelDbfs == -2.0);
}

TEST_CASE("No test signal leaves the output beyond full scale", "[plugin][bench]")
{
    const Session session;
    Bench& bench = *session.bench;
    bench.setSignalLevelDbfs(0.0);
    bench.answerLoudQuestion(true);
    bench.enterPlace(gui::Place::signals);
    bench.selectSignal(indexOf(bench.benchSnapshot(), "pink noise"));
    session.settle();
    const gui::SignalOutput output = bench.benchSnapshot().output;
    CHECK(output.levelDbfs == 0.0);
    CHECK(output.highestDbfs < -6.0); // pink noise has peaks well above its level
    bench.playSignal();
    session.device().run(1.0);
    const float peak = peakOf(session.device().run(20.0));
    CHECK(peak <= 1.0F);
    CHECK(peak > 0.5F);
}

TEST_CASE("Going to Listen stops the test signal", "[plugin][bench]")
{
    const Session session;
    session.bench->enterPlace(gui::Place::signals);
    session.settle();
    session.bench->playSignal();
    session.device().run(1.0);
    session.bench->enterPlace(gui::Place::bike);
    CHECK(session.bench->benchSnapshot().output.playing);
    session.bench->enterPlace(gui::Place::listen);
    CHECK_FALSE(session.bench->benchSnapshot().output.playing);
}

TEST_CASE("Tracks are written with progress, and a cancelled set says so", "[plugin][bench]")
{
    const Session session;
    session.bench->writeTracks(plugin::toFile(session.folder / "stick"));
    CHECK(session.bench->benchSnapshot().writing.busy);
    session.settle();
    const gui::TrackWriting done = session.bench->benchSnapshot().writing;
    CHECK_FALSE(done.failed);
    CHECK(done.message.contains("track-list.html"));
    CHECK(done.doneProportion > 0.8);
    CHECK(std::filesystem::exists(session.folder / "stick" / "track-list.html"));

    session.bench->writeTracks(plugin::toFile(session.folder / "other"));
    session.bench->cancelWriting();
    session.settle();
    CHECK(session.bench->benchSnapshot().writing.message.startsWith("Cancelled"));
    CHECK_FALSE(std::filesystem::exists(session.folder / "other"));

    test::writeBytes(session.folder / "file", "in the way");
    session.bench->writeTracks(plugin::toFile(session.folder / "file"));
    session.settle();
    CHECK(session.bench->benchSnapshot().writing.failed);
}

TEST_CASE("The input is open only when it was asked for, and closed on leaving", "[plugin][bench]")
{
    const Session session;
    CHECK(session.device().numInputsOpen() == 0);
    session.bench->enterPlace(gui::Place::bike);
    CHECK(session.device().numInputsOpen() == 0);
    CHECK_FALSE(session.bench->benchSnapshot().input.open);
    CHECK(session.bench->benchSnapshot().input.devices.size() == 1);
    session.openInput();
    CHECK(session.device().numInputsOpen() == test::SimulatedDevice::roomInput + 1);
    CHECK(session.bench->benchSnapshot().input.channels[1] == "Mic 2");
    session.bench->enterPlace(gui::Place::listen);
    CHECK(session.device().numInputsOpen() == 0);
    CHECK_FALSE(session.bench->benchSnapshot().input.open);
}

TEST_CASE("Meter and analyser show the chosen input", "[plugin][bench]")
{
    const Session session;
    session.openInput();
    // A sine of 1 kHz at -20 dBFS, whatever is played.
    session.device().setRoom([frame = 0](float) mutable {
        return static_cast<float>(0.1 * std::sin(2.0 * std::numbers::pi * 1000.0 * frame++ / rate));
    });
    session.device().run(3.0);
    const gui::BenchSnapshot snapshot = session.bench->benchSnapshot();
    CHECK(snapshot.input.peakDbfs == Approx(-20.0).margin(0.1));
    CHECK_FALSE(snapshot.input.clipHeld);
    CHECK(snapshot.analyser.totalDb() == Approx(-20.0).margin(0.2));
    REQUIRE(snapshot.analyser.bands.size() == snapshot.analyser.levelsDb.size());
    for (std::size_t band = 0; band < snapshot.analyser.bands.size(); ++band)
        if (std::abs(snapshot.analyser.bands[band].centreHz - 1000.0) < 1.0)
            CHECK(snapshot.analyser.levelsDb[band] == Approx(-20.0).margin(0.4));

    session.bench->storeTrace();
    CHECK(session.bench->benchSnapshot().traces->size() == 1);
    session.bench->clearTraces();
    CHECK(session.bench->benchSnapshot().traces->empty());

    session.device().setRoom([](float) { return 1.0F; });
    session.device().run(0.1);
    session.device().setRoom({});
    session.device().run(1.0);
    CHECK(session.bench->benchSnapshot().input.clipHeld);
    session.bench->resetClip();
    CHECK_FALSE(session.bench->benchSnapshot().input.clipHeld);
}

TEST_CASE("A whole session: play, record, measure, average, compare, add to a job",
          "[plugin][bench]")
{
    Session session;
    Bench& bench = *session.bench;
    session.openInput();
    bench.setSignalLevelDbfs(-20.0);
    SimulatedRoom room;
    session.recordSweep(room, measure::EngineState::off, "head centre", 1);
    {
        const gui::BenchSnapshot snapshot = bench.benchSnapshot();
        INFO(snapshot.takes.front().words);
        REQUIRE(snapshot.takes.front().state == gui::TakeState::usable);
        REQUIRE(snapshot.measured.size() == 1);
        CHECK(snapshot.comparison == nullptr);
        const gui::MeasuredView& view = *snapshot.measured.front();
        CHECK(view.snrDb > 20.0);
        // The signal leaves at -20 dBFS and the track says -12: 8 dB less come back.
        for (const measure::BandConfidence& band : view.bands)
            if (band.trusted && band.frequencyHz > 50.0 && band.frequencyHz < 10000.0) {
                INFO(band.frequencyHz << " Hz");
                CHECK(band.levelDb == Approx(room.levelDb(band.frequencyHz) - 8.0).margin(0.3));
            }
    }

    session.recordSweep(room, measure::EngineState::off, "10 cm left", 2);
    REQUIRE(bench.benchSnapshot().measured.size() == 1);
    CHECK(bench.benchSnapshot().measured.front()->numTakes == 2);
    bench.setTakeUsed(1, false);
    session.settle();
    CHECK(bench.benchSnapshot().measured.front()->numTakes == 1);
    bench.setTakeUsed(1, true);
    session.settle();

    // With the engine running this radio takes the treble back.
    room.cornerHz = 700.0;
    session.recordSweep(room, measure::EngineState::running, "head centre", 3);
    const gui::BenchSnapshot snapshot = bench.benchSnapshot();
    REQUIRE(snapshot.measured.size() == 2);
    REQUIRE(snapshot.comparison != nullptr);
    CHECK(snapshot.comparison->comparison.significant);
    CHECK(snapshot.comparison->verdict.isNotEmpty());

    bench.addToJob({});
    session.settle();
    CHECK(bench.benchSnapshot().messageIsProblem);
    const juce::File folder = plugin::toFile(session.folder / "new job");
    bench.addToJob(folder);
    session.settle();
    INFO(bench.benchSnapshot().message);
    CHECK(session.openJob == folder);
    bench.showMeasured(0);
    bench.addToJob({});
    session.settle();
    const auto job = job::loadJob(plugin::toPath(folder));
    REQUIRE(job);
    CHECK(job->states.size() == 2);
    CHECK(job->candidates.size() == 2);
    CHECK(job::checkJob(*job).empty());

    // Taken out of the job, as undo does it, a state can be added again; put back, it is there.
    auto changed = *job;
    REQUIRE(session.addedStates.size() == 2);
    const auto takenOut = job::takeOutState(changed, session.addedStates.front());
    REQUIRE(takenOut);
    REQUIRE(job::saveJob(changed));
    session.settle();
    const auto numInJob = [&bench] {
        const auto views = bench.benchSnapshot().measured;
        return std::ranges::count_if(views, [](const auto& view) { return view->isInJob; });
    };
    CHECK(bench.benchSnapshot().measured.size() == 2);
    CHECK(numInJob() == 1);
    REQUIRE(job::putBackState(changed, *takenOut));
    REQUIRE(job::saveJob(changed));
    session.settle();
    CHECK(bench.benchSnapshot().measured.size() == 2);
    CHECK(numInJob() == 2);
}

TEST_CASE("A cancelled measurement leaves the take, which can be measured later", "[plugin][bench]")
{
    Session session;
    Bench& bench = *session.bench;
    session.openInput();
    bench.setSignalLevelDbfs(-20.0);
    session.recordUnmeasured({}, measure::EngineState::off, "head centre", 21);
    REQUIRE(bench.isBusy());
    bench.cancelWork();
    session.settle();
    gui::BenchSnapshot snapshot = bench.benchSnapshot();
    REQUIRE(snapshot.takes.size() == 1);
    CHECK(snapshot.takes.front().state == gui::TakeState::unmeasured);
    CHECK_FALSE(snapshot.takes.front().used);
    CHECK(snapshot.measured.empty());
    CHECK(snapshot.message.startsWith("Cancelled"));
    CHECK_FALSE(snapshot.messageIsProblem);
    const auto records = measure::listTakes(session.folder / "takes");
    REQUIRE(records.takes.size() == 1);
    CHECK(records.takes.front().record.verdict.empty());
    CHECK_FALSE(records.takes.front().record.refused);

    bench.setTakeUsed(0, true);
    session.settle();
    snapshot = bench.benchSnapshot();
    CHECK(snapshot.takes.front().state == gui::TakeState::usable);
    REQUIRE(snapshot.measured.size() == 1);
    CHECK(snapshot.measured.front()->numTakes == 1);

    // Nothing is added to a job either.
    const juce::File folder = plugin::toFile(session.folder / "new job");
    session.openJob = juce::File();
    bench.setTakeUsed(0, false); // keeps the worker busy
    bench.setTakeUsed(0, true);
    bench.addToJob(folder);
    bench.cancelWork();
    session.settle();
    CHECK_FALSE(folder.exists());
    CHECK(session.openJob == juce::File());
}

TEST_CASE("A refused take says why and stays listed", "[plugin][bench]")
{
    const Session session;
    session.openInput();
    session.device().setRoom(SimulatedRoom {}.make(5));
    session.device().run(2.5);
    session.bench->recordTake(); // of a sweep that nobody plays
    REQUIRE(session.bench->benchSnapshot().capture.state == measure::CaptureState::recording);
    session.device().run(3.0);
    session.device().reportOverrun();
    session.device().run(1.0);
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    session.bench->stopTake();
    session.settle();
    const gui::BenchSnapshot snapshot = session.bench->benchSnapshot();
    REQUIRE(snapshot.takes.size() == 1);
    CHECK(snapshot.takes.front().state == gui::TakeState::refused);
    CHECK_FALSE(snapshot.takes.front().used);
    CHECK(snapshot.takes.front().words.length() > 20);
    CHECK(snapshot.takes.front().words.contains("audio was lost"));
    CHECK(snapshot.measured.empty());
    const auto kept = measure::listTakes(session.folder / "takes");
    REQUIRE(kept.takes.size() == 1);
    CHECK(kept.takes.front().record.refused);
    session.bench->setTakeUsed(0, true);
    CHECK_FALSE(session.bench->benchSnapshot().takes.front().used);
}

TEST_CASE("A noise take ends by itself and is not measured as a sweep", "[plugin][bench]")
{
    const Session session;
    session.openInput();
    session.device().setRoom(SimulatedRoom {}.make(6));
    gui::TakeWords words;
    words.purpose = measure::TakePurpose::noiseFloor;
    session.bench->setTakeWords(words);
    session.bench->recordTake();
    for (double done = 0.0; done < 20.0 && session.bench->benchSnapshot().takes.empty();
         done += 0.25) {
        session.device().run(0.25);
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
        session.bench->update();
    }
    REQUIRE(session.bench->benchSnapshot().takes.size() == 1);
    CHECK(session.bench->benchSnapshot().takes.front().state == gui::TakeState::noise);
    CHECK(session.bench->benchSnapshot().measured.empty());
}

TEST_CASE("A calibrator's take makes levels SPL, and drift between two is flagged",
          "[plugin][bench]")
{
    const Session session;
    session.openInput();
    CHECK(session.bench->benchSnapshot().calibrationWords.startsWith("Not calibrated"));
    gui::TakeWords words;
    words.purpose = measure::TakePurpose::calibration;
    words.calibratorSplDb = 94.0;
    session.bench->setTakeWords(words);
    // A sine of AES17 level -20 dBFS stands for 94 dB: 0 dBFS is 114 dB. Then 1 dB more.
    for (const double levelDbfs : {-20.0, -19.0}) {
        session.device().setRoom([levelDbfs, frame = 0](float) mutable {
            return static_cast<float>(dsp::dbToAmplitude(levelDbfs)
                                      * std::sin(2.0 * std::numbers::pi * 1000.0 * frame++ / rate));
        });
        session.device().run(3.0);
        std::this_thread::sleep_for(std::chrono::milliseconds(50));
        session.bench->recordTake();
        session.device().run(4.0);
        std::this_thread::sleep_for(std::chrono::milliseconds(50));
        session.bench->stopTake();
        session.settle();
    }
    const gui::BenchSnapshot snapshot = session.bench->benchSnapshot();
    REQUIRE(snapshot.takes.size() == 2);
    INFO(snapshot.takes[0].words << " / " << snapshot.takes[1].words);
    CHECK(snapshot.takes[0].state == gui::TakeState::calibration);
    CHECK(snapshot.takes[0].words.contains("114.0 dB SPL"));
    CHECK(snapshot.takes[1].words.contains("113.0 dB SPL"));
    CHECK(snapshot.takes[1].words.contains("1.00 dB higher"));
    CHECK(snapshot.calibrationWords.contains("today"));
    session.device().run(1.0);
    CHECK(session.bench->benchSnapshot().analyser.isSpl());
    CHECK(session.bench->benchSnapshot().analyser.totalDb() == Approx(94.0).margin(0.2));

    session.device().setRoom(SimulatedRoom {}.make(7)); // no tone
    session.device().run(3.0);
    session.bench->recordTake();
    session.device().run(3.0);
    session.bench->stopTake();
    session.settle();
    CHECK(session.bench->benchSnapshot().takes[2].state == gui::TakeState::refused);
    CHECK(session.bench->benchSnapshot().calibrationWords.contains("today"));
}

TEST_CASE("Only descriptions of sweeps are taken as the track", "[plugin][bench]")
{
    const Session session;
    signals::SignalRequest request;
    request.seconds = 1.0;
    const auto pink = signals::makeSignal(request);
    REQUIRE(pink);
    const auto file =
        signals::saveSignal(*pink, session.folder / "pink.wav", files::SampleFormat::pcm16);
    REQUIRE(file);
    session.bench->chooseTrack(plugin::toFile(*file));
    CHECK(session.bench->benchSnapshot().messageIsProblem);
    CHECK(session.bench->benchSnapshot().trackName.contains("shop"));

    request.type = signals::SignalType::sweep;
    request.seconds = 4.0;
    const auto sweep = signals::makeSignal(request);
    REQUIRE(sweep);
    const auto sweepFile =
        signals::saveSignal(*sweep, session.folder / "short.wav", files::SampleFormat::pcm16);
    REQUIRE(sweepFile);
    session.bench->chooseTrack(plugin::toFile(*sweepFile));
    CHECK(session.bench->benchSnapshot().trackName == "short.signal.json");
}
