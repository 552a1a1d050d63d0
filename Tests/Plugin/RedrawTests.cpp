#include "Core/Dsp/Units.h"
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/ResponseView.h"
#include "Gui/RoadControl.h"
#include "Support/EditorFixtures.h"
#include "Support/OffscreenWindow.h"

#include <catch2/catch.hpp>

#include <cstdlib>
#include <functional>
#include <memory>
#include <utility>
#include <vector>

using namespace saddletone;
using test::RecordingModel;

namespace {

juce::Image picture(juce::Component& component)
{
    return component.createComponentSnapshot(component.getLocalBounds());
}

bool isFurther(juce::Colour one, juce::Colour other, int levels)
{
    return std::abs(one.getRed() - other.getRed()) > levels
           || std::abs(one.getGreen() - other.getGreen()) > levels
           || std::abs(one.getBlue() - other.getBlue()) > levels;
}

/** The smallest rectangle that holds every pixel in which two pictures of a size differ by more than
    so many levels of a colour's 255. */
juce::Rectangle<int> difference(const juce::Image& first, const juce::Image& second, int levels = 0)
{
    REQUIRE(first.getBounds() == second.getBounds());
    juce::Rectangle<int> found;
    for (int y = 0; y < first.getHeight(); ++y)
        for (int x = 0; x < first.getWidth(); ++x)
            if (isFurther(first.getPixelAt(x, y), second.getPixelAt(x, y), levels))
                found = found.isEmpty() ? juce::Rectangle<int>(x, y, 1, 1)
                                        : found.getUnion(juce::Rectangle<int>(x, y, 1, 1));
    return found;
}

/** What is heard in three bands: one that is, one that drowns, one by so much. */
std::shared_ptr<const audition::RoadAudibility> roadHeard(double aboveDb)
{
    auto road = std::make_shared<audition::RoadAudibility>();
    std::size_t index = 10; // of 200 Hz on
    for (const double bandDb : {10.0, -10.0, aboveDb}) {
        hearing::BandAudibility& band = road->music.bands[index];
        band.frequencyHz = hearing::thirdOctave(index).centreHz;
        band.inProgramme = true;
        band.aboveDb = bandDb;
        ++index;
    }
    return road;
}

/** With noise to be seen, and what of the music is heard in it. */
gui::AuditionSnapshot onTheRoad(gui::AuditionSnapshot snapshot)
{
    snapshot.choice.speedKmh = 100.0;
    snapshot.levels.noise.totalDba = 90.0;
    snapshot.road = roadHeard(3.0);
    return snapshot;
}

/** The response as a window draws it that has shown nothing else before. */
juce::Image freshPicture(const gui::AuditionSnapshot& snapshot, int width, int height)
{
    gui::ResponseView view;
    view.setSize(width, height);
    view.show(snapshot);
    return picture(view);
}

/** A component as a window has it: what it does not ask to be drawn again stays as it was. */
class Canvas {
public:
    explicit Canvas(juce::Component& shown) : content(shown), frame(shown)
    {
        shown.setBufferedToImage(true);
    }
    ~Canvas() { content.setBufferedToImage(false); }
    Canvas(const Canvas&) = delete;
    Canvas& operator=(const Canvas&) = delete;

    /** Edges at the border of what is drawn again are rounded otherwise than in one go. */
    static constexpr int rounding = 8;

    juce::Image seen() { return picture(frame); }
    /** Where what is seen is not what would be drawn now. */
    juce::Rectangle<int> outdated()
    {
        const juce::Image kept = seen();
        content.repaint();
        return difference(kept, seen(), rounding);
    }

private:
    juce::Component& content;
    test::OffscreenWindow frame; // in sight: what is not asks for nothing
};

template <typename Snapshot>
using Changes = std::vector<std::pair<const char*, std::function<void(Snapshot&)>>>;

using MakeEditor = std::function<std::unique_ptr<gui::AuditionEditor>()>;

/** Makes each change by itself and takes it back: what is seen is what would be drawn now, and what
    a window shows that was opened only now. */
template <typename Snapshot>
void checkRedrawn(const MakeEditor& makeEditor, Snapshot& current, const Changes<Snapshot>& changes)
{
    const Snapshot base = current;
    const auto editor = makeEditor();
    editor->refresh();
    Canvas canvas(*editor);
    for (const auto& [name, change] : changes) {
        INFO(name);
        const juce::Image before = canvas.seen();
        change(current);
        editor->refresh();
        const juce::Image seen = canvas.seen();
        CHECK_FALSE(difference(before, seen).isEmpty());
        CHECK(canvas.outdated().toString() == juce::Rectangle<int>().toString());
        const auto opened = makeEditor();
        opened->refresh();
        CHECK(difference(seen, picture(*opened), Canvas::rounding).toString()
              == juce::Rectangle<int>().toString());
        current = base;
        constexpr int framesToRest = 150; // meters fall slowly
        for (int frame = 0; frame < framesToRest; ++frame)
            editor->refresh();
        CHECK(canvas.outdated().toString() == juce::Rectangle<int>().toString());
    }
}

/** A job's road on which everything is loud, and nothing was changed yet. */
void openLoudJob(RecordingModel& model)
{
    model.openMadeUpJob(3);
    gui::setParameter(model.parameters(), gui::parameterIds::speedKmh, 100.0);
    model.current = onTheRoad(model.current);
    model.current.player.title = "Slow song";
}

} // namespace

TEST_CASE("What moves with the rider is all that changes on the road", "[plugin][editor]")
{
    RecordingModel model;
    gui::RoadControl road(model.parameters());
    road.setJoinsStops(GENERATE(false, true));
    road.setSize(GENERATE(620, 1500), 112);
    for (const auto& [fromKmh, toKmh] : {std::pair {0.0, 3.0}, std::pair {40.0, 45.0},
                                         std::pair {64.0, 144.0}, std::pair {3.0, 100.0}}) {
        road.setSpeedKmh(fromKmh);
        const juce::Image before = picture(road);
        const auto areaBefore = road.riderArea();
        road.setSpeedKmh(toKmh);
        const auto changed = difference(before, picture(road));
        CAPTURE(fromKmh, toKmh, changed.toString());
        CHECK_FALSE(changed.isEmpty());
        CHECK(areaBefore.getUnion(road.riderArea()).contains(changed));
    }
}

TEST_CASE("Curves and noise that are kept look as if they were drawn anew", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(3);
    gui::AuditionSnapshot snapshot = onTheRoad(model.current);
    gui::ResponseView view;
    view.setSize(900, 400);
    view.show(snapshot);
    const juce::Image first = picture(view);
    CHECK(difference(first, freshPicture(snapshot, 900, 400)).isEmpty());
    const auto check = [&] {
        view.show(snapshot);
        CHECK(difference(picture(view), freshPicture(snapshot, view.getWidth(), view.getHeight()))
                  .isEmpty());
    };
    snapshot.candidate = 1;
    check();
    snapshot.levels.radioGainDb = 7.3; // all curves move
    check();
    CHECK_FALSE(difference(first, picture(view)).isEmpty());
    snapshot.noiseTrimDb = -6.0;
    check();
    snapshot.road = roadHeard(-3.0);
    check();
    view.setSize(1300, 500);
    check();
    RecordingModel other;
    other.openMadeUpJob(2);
    snapshot = onTheRoad(other.current);
    check();
}

TEST_CASE("Listen draws again whatever has changed", "[plugin][editor]")
{
    using Snapshot = gui::AuditionSnapshot;
    RecordingModel model;
    openLoudJob(model);
    const auto listen = [&] { return std::make_unique<gui::AuditionEditor>(model); };
    checkRedrawn<Snapshot>(
        listen, model.current,
        {{"another job",
          [](Snapshot& now) {
              auto job = std::make_shared<gui::JobView>(*now.job);
              job->title = "Another job";
              job->isBinaural = true;
              job->candidates.pop_back();
              now.job = std::move(job);
          }},
         {"candidate", [](Snapshot& now) { now.candidate = 2; }},
         {"no noise", [](Snapshot& now) { now.levels.noise.totalDba = dsp::silenceDb; }},
         {"noise by trim", [](Snapshot& now) { now.noiseTrimDb = -6.0; }},
         {"radio", [](Snapshot& now) { now.levels.radioGainDb = 7.0; }},
         {"plugs", [](Snapshot& now) { now.levels.plugLossDb = 20.0; }},
         {"levels",
          [](Snapshot& now) {
              now.levels.programmeSplDba = 80.0;
              now.levels.noise.totalDba = 95.0;
          }},
         {"match",
          [](Snapshot& now) {
              now.fairness.matchGainsDb = {0.0, -3.0, 2.0};
              now.match = audition::LevelMatch::equalLoudness;
          }},
         {"differences",
          [](Snapshot& now) {
              now.fairness.differencesDb = {0.0, 3.0, -2.0};
              now.fairness.matchGainsDb = {0.0, -3.0, 2.0};
          }},
         {"what is heard", [](Snapshot& now) { now.road = roadHeard(-3.0); }},
         {"the moment", [](Snapshot& now) { now.roadNow = now.road; }},
         {"on the bike", [](Snapshot& now) { now.nowOnBike = "Stock"; }},
         {"unit", [](Snapshot& now) { now.speedUnit = gui::SpeedUnit::kmh; }},
         {"playing", [](Snapshot& now) { now.player.playing = true; }},
         {"looping", [](Snapshot& now) { now.player.looping = true; }},
         {"title", [](Snapshot& now) { now.player.title = "Quick song"; }},
         {"no song", [](Snapshot& now) { now.player.loaded = false; }},
         {"time", [](Snapshot& now) { now.player.positionSeconds = 31.0; }},
         {"length", [](Snapshot& now) { now.player.durationSeconds = 90.0; }},
         {"no player", [](Snapshot& now) { now.player.available = false; }},
         {"peak", [](Snapshot& now) { now.outputPeakDbfs = -8.0; }},
         {"ceiling", [](Snapshot& now) { now.ceilingDbfs = -12.0; }},
         {"limiting", [](Snapshot& now) { now.ceilingGainDb = -3.0; }},
         {"headphones",
          [](Snapshot& now) {
              now.headphoneSplDb = 110.0;
              now.earLevelDba = 71.0;
          }},
         {"guard",
          [](Snapshot& now) {
              now.headphoneSplDb = 110.0;
              now.guardGainDb = -4.0;
          }},
         {"exposure",
          [](Snapshot& now) {
              now.headphoneSplDb = 110.0;
              now.exposure.add(78.0, 600.0);
          }},
         {"problem", [](Snapshot& now) { now.problem = "There is no sound."; }},
         {"no job", [](Snapshot& now) { now.job = nullptr; }}});
}

TEST_CASE("Signals and Bike draw again whatever has changed", "[plugin][editor]")
{
    using Snapshot = gui::BenchSnapshot;
    RecordingModel model;
    test::RecordingBench bench;
    bench.makeUpTakes();
    bench.current.input.open = true;
    const auto signals = [&] {
        auto editor = std::make_unique<gui::AuditionEditor>(model, &bench);
        editor->goTo(gui::Place::signals);
        return editor;
    };
    const auto bikeOf = [&](gui::BikePanel panel) {
        return [&model, &bench, panel] {
            auto editor = std::make_unique<gui::AuditionEditor>(model, &bench);
            editor->goTo(gui::Place::bike);
            editor->bike()->showPanel(panel);
            return editor;
        };
    };
    checkRedrawn<Snapshot>(
        signals, bench.current,
        {{"signal", [](Snapshot& now) { now.output.selected = 1; }},
         {"playing", [](Snapshot& now) { now.output.playing = true; }},
         {"being made", [](Snapshot& now) { now.output.preparing = true; }},
         {"time",
          [](Snapshot& now) {
              now.output.playing = true;
              now.output.positionSeconds = 12.0;
          }},
         {"level", [](Snapshot& now) { now.output.levelDbfs = -20.0; }},
         {"side", [](Snapshot& now) { now.output.side = gui::OutputSide::left; }},
         {"device", [](Snapshot& now) { now.output.hasDevice = !now.output.hasDevice; }},
         {"peak", [](Snapshot& now) { now.output.peakDbfs = -10.0; }},
         {"loud", [](Snapshot& now) { now.output.asksForLoud = true; }},
         {"writing",
          [](Snapshot& now) {
              now.writing.busy = true;
              now.writing.doneProportion = 0.4;
          }},
         {"written", [](Snapshot& now) { now.writing.message = "Written."; }}});
    for (const gui::BikePanel panel :
         {gui::BikePanel::analyser, gui::BikePanel::curves, gui::BikePanel::microphone}) {
        CAPTURE(static_cast<int>(panel));
        checkRedrawn<Snapshot>(
            bikeOf(panel), bench.current,
            {{"input closed", [](Snapshot& now) { now.input.open = false; }},
             {"clipped", [](Snapshot& now) { now.input.clipHeld = true; }},
             {"level", [](Snapshot& now) { now.input.peakDbfs = -9.0; }},
             {"input problem",
              [](Snapshot& now) {
                  now.input.open = false;
                  now.input.problem = "The input is in use.";
              }},
             {"recording",
              [](Snapshot& now) { now.capture.state = measure::CaptureState::recording; }},
             {"calibration", [](Snapshot& now) { now.calibrationWords = "Calibrated now."; }},
             {"track", [](Snapshot& now) { now.trackName = "Another track"; }},
             {"message", [](Snapshot& now) { now.message = "The take was added."; }}});
    }
    checkRedrawn<Snapshot>(
        bikeOf(gui::BikePanel::curves), bench.current,
        {{"take left out", [](Snapshot& now) { now.takes[0].used = false; }},
         {"take named", [](Snapshot& now) { now.takes[0].words = "Another word."; }},
         {"state", [](Snapshot& now) { now.shownMeasured = 1; }},
         {"fewer states", [](Snapshot& now) { now.measured.pop_back(); }},
         {"no comparison", [](Snapshot& now) { now.comparison = nullptr; }},
         {"sides", [](Snapshot& now) {
              auto sides = std::make_shared<gui::SpeakersView>();
              sides->warning = "The sides move against each other.";
              now.speakers = std::move(sides);
          }}});
    checkRedrawn<Snapshot>(
        bikeOf(gui::BikePanel::microphone), bench.current,
        {{"words",
          [](Snapshot& now) {
              now.microphone.shortWords = "A curve.";
              now.microphone.words = "The curve is taken out of each take.";
          }},
         {"problem",
          [](Snapshot& now) {
              now.microphone.words = "The table cannot be read.";
              now.microphone.isProblem = true;
          }},
         {"file", [](Snapshot& now) { now.microphone.zeroDegreesFile = "front.txt"; }}});
}

TEST_CASE("Noise that moves is drawn again wherever it was and is", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(3);
    gui::AuditionSnapshot snapshot = onTheRoad(model.current);
    gui::ResponseView view;
    view.setSize(GENERATE(620, 1470), GENERATE(210, 570));
    view.show(snapshot);
    Canvas canvas(view);
    for (const auto& [speedKmh, trimDb] :
         {std::pair {101.0, 0.0}, std::pair {110.0, 0.0}, std::pair {144.0, 0.0},
          std::pair {40.0, 0.0}, std::pair {40.0, -20.0}, std::pair {140.0, 6.0},
          std::pair {2.0, 0.0}}) {
        CAPTURE(speedKmh, trimDb);
        const juce::Image before = canvas.seen();
        snapshot.choice.speedKmh = speedKmh;
        snapshot.noiseTrimDb = trimDb;
        view.show(snapshot);
        CHECK_FALSE(difference(before, canvas.seen()).isEmpty());
        CHECK(canvas.outdated().toString() == juce::Rectangle<int>().toString());
        gui::ResponseView other;
        other.setSize(view.getWidth(), view.getHeight());
        other.show(snapshot);
        Canvas anew(other);
        CHECK(difference(canvas.seen(), anew.seen(), Canvas::rounding).isEmpty());
    }
}
