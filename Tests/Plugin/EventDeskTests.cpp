#include "Plugin/EventDesk.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Job/BlindRuns.h"
#include "Gui/EventScreen.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Support/EventRig.h"

#include <catch2/catch.hpp>

#include <array>
#include <functional>
#include <utility>
#include <vector>

using namespace saddletone;
using gui::EventStage;
using plugin::EventDesk;
using test::EventRig;
namespace ids = gui::parameterIds;

namespace {

/** A blind test that remembers what was done with it. */
class RecordingBlind final : public gui::BlindModel {
public:
    gui::BlindView blindView() override
    {
        gui::BlindView view;
        view.stage = stage;
        return view;
    }
    void begin(const gui::BlindChoice&) override { stage = gui::BlindStage::running; }
    void listenTo(std::size_t) override {}
    void answer(std::size_t) override {}
    void abandon() override
    {
        if (stage == gui::BlindStage::running) {
            stage = gui::BlindStage::over;
            wasAbandoned = true;
        }
    }
    void storeAgain() override {}
    void dismiss() override { stage = gui::BlindStage::idle; }

    gui::BlindStage stage = gui::BlindStage::idle;
    bool wasAbandoned = false;
};

} // namespace

TEST_CASE("An event needs a job, music and no blind test, and says so", "[plugin][event]")
{
    EventRig rig;
    RecordingBlind blind;
    EventDesk desk(rig.model, &blind, EventDesk::steadySeconds);
    CHECK(desk.eventView().obstacle.isEmpty());
    blind.stage = gui::BlindStage::running;
    CHECK(desk.eventView().obstacle.contains("blind test"));
    blind.stage = gui::BlindStage::idle;
    rig.model.current.player.loaded = false;
    CHECK(desk.eventView().obstacle.contains("no music"));
    rig.model.current.busy = true;
    CHECK(desk.eventView().obstacle.contains("being loaded"));
    rig.model.current.job = nullptr;
    CHECK(desk.eventView().obstacle.contains("Open a job"));
    desk.begin(-12.0);
    CHECK(desk.eventView().stage == EventStage::off);
}

TEST_CASE("An event begins silent, parked, and with candidate 1", "[plugin][event]")
{
    EventRig rig;
    rig.set(ids::candidate, 3.0);
    rig.set(ids::speedKmh, 120.0);
    rig.set(ids::bypass, 1.0);
    rig.set(ids::monitor, 2.0); // noise only
    rig.model.current.player.playing = true;
    rig.desk.begin(-12.0);
    CHECK(rig.desk.eventView().stage == EventStage::waiting);
    CHECK(rig.get(ids::candidate) == 1.0);
    CHECK(rig.get(ids::speedKmh) == 0.0);
    CHECK(rig.get(ids::bypass) == 0.0);
    CHECK(rig.get(ids::monitor) == 0.0);
    CHECK(rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    CHECK_FALSE(rig.model.current.player.playing);
    rig.pass(30.0);
    CHECK_FALSE(rig.model.current.player.playing);
    CHECK(rig.get(ids::outputLevelDb) == EventDesk::silentDb);
}

TEST_CASE("A listener's music rises from silence, and never beyond the limit", "[plugin][event]")
{
    EventRig rig;
    rig.desk.begin(-10.0);
    rig.desk.touch();
    CHECK(rig.model.current.player.playing);
    CHECK(rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    double before = EventDesk::silentDb;
    for (int step = 0; step < 300; ++step) {
        rig.pass(1.0 / 30.0);
        const double level = rig.get(ids::outputLevelDb);
        CHECK(level - before
              <= EventDesk::riseDbPerSecond / 30.0 + 0.11); // to the parameter's step
        CHECK(level <= -22.0 + 0.05);
        before = level;
    }
    CHECK(before == Approx(-22.0).margin(0.05));
    for (int press = 0; press < 20; ++press)
        rig.desk.stepVolume(1);
    rig.pass(5.0);
    CHECK(rig.get(ids::outputLevelDb) == Approx(-10.0).margin(0.05));
    rig.set(ids::outputLevelDb, 0.0); // from elsewhere
    rig.pass(0.1);
    CHECK(rig.get(ids::outputLevelDb) <= -10.0 + 0.05);
    rig.desk.stepVolume(-1);
    rig.pass(0.1); // down it goes at once
    CHECK(rig.get(ids::outputLevelDb) == Approx(-13.0).margin(0.05));
    // However long the program was held up, the rise is no step.
    rig.desk.pause();
    rig.desk.play();
    rig.seconds += 20.0;
    rig.desk.update();
    CHECK(rig.get(ids::outputLevelDb) < EventDesk::silentDb + 1.0);
}

TEST_CASE("The owner's limit is remembered, and holds in the next event", "[plugin][event]")
{
    EventRig rig;
    CHECK(rig.desk.eventView().limitDb == EventDesk::usualLimitDb);
    std::vector<double> kept;
    EventDesk desk(rig.model, nullptr, [&] { return rig.seconds; },
                   {-20.0, [&](double limitDb) { kept.push_back(limitDb); }});
    CHECK(desk.eventView().limitDb == -20.0);
    CHECK(kept.empty());
    desk.setLimitDb(-25.0);
    desk.setLimitDb(-25.0);
    desk.setLimitDb(-70.0);
    desk.setLimitDb(6.0);
    CHECK(kept == std::vector<double> {-25.0, EventDesk::lowestLimitDb, 0.0});
    desk.begin(-18.0);
    CHECK(kept.back() == -18.0);
    REQUIRE(desk.isRunning());
    desk.setLimitDb(0.0); // a listener's hand has no say
    CHECK(desk.eventView().limitDb == -18.0);
    CHECK(kept.back() == -18.0);
    desk.end();
    desk.dismiss();
    CHECK(desk.eventView().stage == gui::EventStage::off);
    CHECK(desk.eventView().limitDb == -18.0);
    // Whatever stands in the settings.
    for (const auto& [stored, meant] : {std::pair {12.0, 0.0}, std::pair {-300.0, -40.0}})
        CHECK(EventDesk(rig.model, nullptr, EventDesk::steadySeconds, {stored, {}})
                  .eventView()
                  .limitDb
              == meant);
}

TEST_CASE("The limit is set on the event's screen, which shows the one that was remembered",
          "[plugin][event]")
{
    EventRig rig;
    EventDesk desk(rig.model, nullptr, [&] { return rig.seconds; }, {-20.0, {}});
    gui::EventScreen screen(desk, rig.model);
    screen.setSize(1280, 800);
    screen.show(rig.model.current);
    juce::Slider* slider = nullptr;
    const std::function<void(juce::Component&)> look = [&](juce::Component& component) {
        if (auto* const found = dynamic_cast<juce::Slider*>(&component);
            found != nullptr && found->getTitle() == "Loudest")
            slider = found;
        for (juce::Component* const child : component.getChildren())
            look(*child);
    };
    look(screen);
    REQUIRE(slider != nullptr);
    CHECK(slider->getValue() == -20.0);
    slider->setValue(-15.0, juce::sendNotificationSync);
    CHECK(desk.eventView().limitDb == -15.0);
    screen.show(rig.model.current);
    CHECK(slider->getValue() == -15.0);
}

TEST_CASE("Quiet is silence at once, and afterwards it begins as at the start", "[plugin][event]")
{
    EventRig rig;
    rig.desk.begin(-10.0);
    rig.desk.touch();
    rig.desk.stepVolume(4);
    rig.pass(12.0);
    CHECK(rig.get(ids::outputLevelDb) == Approx(-10.0).margin(0.05));
    rig.desk.quieten();
    CHECK(rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    CHECK_FALSE(rig.model.current.player.playing);
    CHECK(rig.desk.eventView().stage == EventStage::listening);
    rig.desk.play();
    CHECK(rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    rig.pass(12.0);
    CHECK(rig.get(ids::outputLevelDb) == Approx(-22.0).margin(0.05));
}

TEST_CASE("Two minutes after the last touch everything is as at the start", "[plugin][event]")
{
    EventRig rig;
    RecordingBlind blind;
    EventDesk desk(rig.model, &blind, [&] { return rig.seconds; });
    const auto pass = [&](double durationSeconds) {
        for (int step = 0; step < static_cast<int>(30.0 * durationSeconds); ++step) {
            rig.seconds += 1.0 / 30.0;
            desk.update();
        }
    };
    desk.begin(-10.0);
    desk.touch();
    desk.stepVolume(2);
    desk.pick(2);
    rig.set(ids::speedKmh, 100.0);
    blind.begin({});
    pass(89.0);
    CHECK_FALSE(desk.eventView().countdownSeconds);
    pass(21.0);
    REQUIRE(desk.eventView().countdownSeconds);
    CHECK(*desk.eventView().countdownSeconds == Approx(10.0).margin(0.2));
    desk.touch(); // still there
    CHECK_FALSE(desk.eventView().countdownSeconds);
    pass(119.0);
    CHECK(desk.eventView().stage == EventStage::listening);
    CHECK(rig.model.current.player.playing);
    pass(2.0);
    CHECK(desk.eventView().stage == EventStage::waiting);
    CHECK_FALSE(rig.model.current.player.playing);
    CHECK(rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    CHECK(rig.get(ids::candidate) == 1.0);
    CHECK(rig.get(ids::speedKmh) == 0.0);
    CHECK(blind.wasAbandoned);
    CHECK(blind.stage == gui::BlindStage::idle);
    // The next listener does not inherit the volume.
    desk.touch();
    pass(10.0);
    CHECK(rig.get(ids::outputLevelDb) == Approx(-22.0).margin(0.05));
}

TEST_CASE("Settings are what they were when an event began, whoever changes them",
          "[plugin][event]")
{
    EventRig rig;
    rig.set(ids::ceilingDba, 75.0);
    rig.set(ids::headphoneSplDb, 108.0);
    rig.set(ids::levelMatch, 1.0);
    rig.desk.begin(-12.0);
    rig.desk.touch();
    constexpr std::array locked {ids::noiseTrimDb,    ids::ceilingDbfs, ids::monitor,
                                 ids::levelMatch,     ids::helmet,      ids::screen,
                                 ids::earPlugs,       ids::engineNoise, ids::radioVolumeDb,
                                 ids::headphoneSplDb, ids::ceilingDba,  ids::bypass};
    for (const char* const id : locked) {
        CAPTURE(id);
        const double before = rig.get(id);
        juce::RangedAudioParameter& parameter = *rig.model.parameters().getParameter(id);
        parameter.setValueNotifyingHost(parameter.getValue() > 0.5F ? 0.0F : 1.0F);
        CHECK(rig.get(id) != before);
        rig.pass(0.1);
        CHECK(rig.get(id) == before);
    }
    // These are the listener's.
    rig.desk.pick(1);
    rig.set(ids::speedKmh, 60.0);
    rig.pass(0.1);
    CHECK(rig.get(ids::candidate) == 2.0);
    CHECK(rig.get(ids::speedKmh) == Approx(60.0));
}

TEST_CASE("Counts are on the disk as they are made", "[plugin][event]")
{
    EventRig rig;
    rig.desk.begin(-12.0);
    rig.listenTo(2);
    // Nothing has been ended: so a crash finds it.
    REQUIRE(rig.stored().size() == 1);
    CHECK(rig.stored()[0].numListeners == 1);
    CHECK(rig.stored()[0].numAnswers() == 0);
    rig.desk.prefer(1); // not heard
    CHECK(rig.stored()[0].numAnswers() == 0);
    rig.desk.prefer(2);
    CHECK(rig.stored()[0].candidates[2].timesPreferred == 1);
    rig.desk.prefer(0);
    CHECK(rig.stored()[0].candidates[2].timesPreferred == 0);
    CHECK(rig.stored()[0].candidates[0].timesPreferred == 1);
    rig.desk.prefer(2);
    rig.pass(121.0);
    rig.listenTo(1); // and gives no answer
    rig.pass(121.0);
    rig.desk.touch(); // goes at once
    rig.pass(3.0);
    rig.desk.end();
    const auto events = rig.stored();
    REQUIRE(events.size() == 1);
    CHECK(events[0].numListeners == 2);
    CHECK(events[0].numAnswers() == 1);
    CHECK(events[0].candidates[2].timesPreferred == 1);
    CHECK(events[0].candidates[2].name == "Candidate with a rather long name 3");
    CHECK(events[0].startedAt.size() >= 19);
    CHECK(rig.desk.eventView().stage == EventStage::over);
    CHECK(rig.desk.eventView().record == events[0]);
    CHECK(rig.desk.eventView().storeProblem.isEmpty());
    rig.desk.dismiss();
    CHECK(rig.desk.eventView().stage == EventStage::off);
}

TEST_CASE("An event that nobody listened to leaves no trace", "[plugin][event]")
{
    EventRig rig;
    rig.desk.begin(-12.0);
    rig.desk.touch();
    rig.pass(5.0);
    rig.desk.end();
    rig.desk.dismiss();
    CHECK_FALSE(std::filesystem::exists(rig.folder.path() / job::eventsFileName));
}

TEST_CASE("Counts that cannot be written are said and written later", "[plugin][event]")
{
    EventRig rig;
    const auto file = rig.folder.path() / job::eventsFileName;
    REQUIRE(files::writeTextFile(file, "{"));
    rig.desk.begin(-12.0);
    CHECK(rig.desk.eventView().stage == EventStage::off);
    CHECK(rig.desk.eventView().obstacle.contains("events.json"));
    std::filesystem::remove(file);
    rig.desk.dismiss();
    rig.desk.begin(-12.0);
    REQUIRE(rig.desk.eventView().stage == EventStage::waiting);
    std::filesystem::create_directory(file); // in the way
    rig.listenTo(1);
    CHECK(rig.desk.eventView().storeProblem.contains("events.json"));
    rig.desk.end();
    CHECK(rig.desk.eventView().storeProblem.isNotEmpty());
    std::filesystem::remove(file);
    rig.desk.dismiss();
    REQUIRE(rig.stored().size() == 1);
    CHECK(rig.stored()[0].numListeners == 1);
}

TEST_CASE("An event ends with its job, and leaves silence", "[plugin][event]")
{
    EventRig rig;
    rig.desk.begin(-12.0);
    rig.listenTo(1);
    rig.openJob(4);
    rig.pass(0.1);
    CHECK(rig.desk.eventView().stage == EventStage::over);
    CHECK_FALSE(rig.model.current.player.playing);
    CHECK(rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    CHECK(rig.stored()[0].numListeners == 1);
}
