#include "Gui/AuditionEditor.h"
#include "Support/EditorFixtures.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using test::RecordingBench;
using test::RecordingModel;

namespace {

juce::KeyPress placeKey(gui::Place place)
{
    return {'1' + static_cast<int>(place), juce::ModifierKeys::commandModifier, 0};
}

/** The first component below one that a test is true of. */
juce::Component* find(juce::Component& component, const std::function<bool(juce::Component&)>& isIt)
{
    for (juce::Component* const child : component.getChildren()) {
        if (isIt(*child))
            return child;
        if (juce::Component* const found = find(*child, isIt))
            return found;
    }
    return nullptr;
}

juce::Component& titled(juce::Component& component, const juce::String& title)
{
    juce::Component* const found =
        find(component, [&](juce::Component& each) { return each.getTitle() == title; });
    INFO(title);
    REQUIRE(found != nullptr);
    return *found;
}

/** The part of the window that is of a kind. */
template <typename Part>
Part& partOf(juce::Component& component)
{
    auto* const found = dynamic_cast<Part*>(find(
        component, [](juce::Component& each) { return dynamic_cast<Part*>(&each) != nullptr; }));
    REQUIRE(found != nullptr);
    return *found;
}

bool isSeen(const juce::Component& component)
{
    for (const juce::Component* each = &component; each->getParentComponent() != nullptr;
         each = each->getParentComponent())
        if (!each->isVisible())
            return false;
    return true;
}

struct Window {
    RecordingModel model;
    RecordingBench bench;
    gui::AuditionEditor editor {model, &bench};
};

} // namespace

TEST_CASE("Without a bench there is only Listen", "[plugin][editor]")
{
    RecordingModel model;
    gui::AuditionEditor editor(model);
    CHECK_FALSE(editor.keyPressed(placeKey(gui::Place::signals)));
    editor.goTo(gui::Place::bike);
    CHECK(editor.currentPlace() == gui::Place::listen);
    CHECK(
        find(editor,
             [](juce::Component& each) { return dynamic_cast<gui::PlaceStops*>(&each) != nullptr; })
        == nullptr);
}

TEST_CASE("Keys and signs lead along the road", "[plugin][editor]")
{
    Window window;
    CHECK(window.editor.currentPlace() == gui::Place::listen);
    CHECK(window.editor.keyPressed(placeKey(gui::Place::signals)));
    CHECK(window.bench.place == gui::Place::signals);
    CHECK(isSeen(titled(window.editor, "Test signals")));
    CHECK_FALSE(isSeen(titled(window.editor, "Candidates")));
    CHECK(window.editor.keyPressed(placeKey(gui::Place::bike)));
    CHECK(window.bench.place == gui::Place::bike);
    auto& sign = dynamic_cast<juce::Button&>(titled(window.editor, "Go to Listen"));
    sign.onClick();
    CHECK(window.editor.currentPlace() == gui::Place::listen);
    CHECK(isSeen(titled(window.editor, "Candidates")));
    CHECK(sign.getToggleState());
}

TEST_CASE("Keys of the audition do nothing at the bench", "[plugin][editor]")
{
    Window window;
    window.model.openMadeUpJob(3);
    window.editor.goTo(gui::Place::signals);
    CHECK_FALSE(window.editor.keyPressed(test::characterKey('2')));
    CHECK_FALSE(window.editor.keyPressed(juce::KeyPress(juce::KeyPress::upKey)));
    CHECK(gui::parameterValue(window.model.parameters(), gui::parameterIds::candidate) == 1.0);
}

TEST_CASE("Escape stops a test signal in every place", "[plugin][editor]")
{
    Window window;
    for (const gui::Place place : gui::allPlaces) {
        window.editor.goTo(place);
        window.bench.playSignal();
        CHECK(window.editor.keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)));
        CHECK_FALSE(window.bench.current.output.playing);
    }
}

TEST_CASE("Every control of the bench has a name and can be reached by keyboard",
          "[plugin][editor]")
{
    Window window;
    window.bench.makeUpTakes();
    std::vector<juce::Component*> controls;
    test::collectControls(window.editor, controls);
    CHECK(controls.size() >= 45);
    for (juce::Component* const control : controls) {
        INFO(control->getName() << " " << control->getTitle());
        CHECK(control->getTitle().isNotEmpty());
        CHECK(control->getDescription().isNotEmpty());
        CHECK(control->getWantsKeyboardFocus());
    }
    for (const char* const title : {"Profile", "Microphone", "Takes", "Test signals"})
        CHECK(titled(window.editor, title).getDescription().isNotEmpty());
}

TEST_CASE("Controls of the bench stay apart and inside the window at every size",
          "[plugin][editor]")
{
    Window window;
    window.bench.makeUpTakes();
    for (const gui::Place place : gui::allPlaces)
        for (const auto& [panel, aspect] :
             {std::pair {gui::BikePanel::analyser, gui::MeasuredAspect::curve},
              std::pair {gui::BikePanel::curves, gui::MeasuredAspect::curve},
              std::pair {gui::BikePanel::curves, gui::MeasuredAspect::distortion},
              std::pair {gui::BikePanel::curves, gui::MeasuredAspect::confidence},
              std::pair {gui::BikePanel::microphone, gui::MeasuredAspect::curve}})
            for (const auto& [width, height] : {std::pair {1024, 700}, std::pair {1280, 720},
                                                std::pair {1920, 1080}, std::pair {3840, 2160}}) {
                window.editor.setSize(width, height);
                window.editor.goTo(place);
                window.editor.bike()->showPanel(panel);
                window.editor.bike()->showAspect(aspect);
                std::vector<juce::Component*> all;
                test::collectControls(window.editor, all);
                std::vector<juce::Component*> controls;
                for (juce::Component* const control : all)
                    if (isSeen(*control))
                        controls.push_back(control);
                const auto areaOf = [&](juce::Component* control) {
                    return window.editor.getLocalArea(control, control->getLocalBounds());
                };
                for (std::size_t first = 0; first < controls.size(); ++first) {
                    const auto area = areaOf(controls[first]);
                    INFO(width << "x" << height << " " << controls[first]->getTitle());
                    CHECK(window.editor.getLocalBounds().contains(area));
                    CHECK(area.getHeight() >= 28);
                    for (std::size_t second = first + 1; second < controls.size(); ++second) {
                        INFO(controls[second]->getTitle());
                        CHECK_FALSE(area.intersects(areaOf(controls[second])));
                    }
                }
            }
}

TEST_CASE("The question about a loud level has two answers", "[plugin][editor]")
{
    Window window;
    window.editor.goTo(gui::Place::signals);
    for (const bool agrees : {false, true}) {
        window.bench.current.output.asksForLoud = true;
        window.editor.refresh();
        auto* const panel =
            dynamic_cast<gui::NoticePanel*>(find(window.editor, [](juce::Component& each) {
                return each.isVisible() && dynamic_cast<gui::NoticePanel*>(&each) != nullptr;
            }));
        REQUIRE(panel != nullptr);
        CHECK(panel->getText().contains("tweeter"));
        CHECK(panel->keyPressed(
            juce::KeyPress(agrees ? juce::KeyPress::returnKey : juce::KeyPress::escapeKey)));
        CHECK(window.bench.agreed == agrees);
        window.editor.refresh();
        CHECK_FALSE(panel->isVisible());
    }
}

TEST_CASE("The Bike place tells the bench what is recorded, and shows what came of it",
          "[plugin][editor]")
{
    Window window;
    window.editor.goTo(gui::Place::bike);
    dynamic_cast<juce::Button&>(titled(window.editor, "Switch the input")).onClick();
    CHECK(window.bench.current.input.open);
    auto& profile = dynamic_cast<juce::TextEditor&>(titled(window.editor, "Profile"));
    profile.setText("Touring", juce::dontSendNotification);
    profile.onTextChange();
    CHECK(window.bench.current.words.profile == "Touring");
    CHECK(window.bench.current.words.place == "rider's head");
    CHECK(window.bench.current.words.speakers == measure::SpeakerGroup::all);
    auto& bike = *window.editor.bike();
    auto& speakers = dynamic_cast<juce::ComboBox&>(titled(bike, "Speakers that play"));
    REQUIRE(speakers.getNumItems() == static_cast<int>(measure::allSpeakerGroups.size()));
    for (const measure::SpeakerGroup group : measure::allSpeakerGroups) {
        speakers.setSelectedItemIndex(static_cast<int>(group), juce::sendNotificationSync);
        CHECK(window.bench.current.words.speakers == group);
        CHECK(speakers.getText().equalsIgnoreCase(juce::String(measure::speakerGroupWords(group))));
    }

    auto& record = dynamic_cast<juce::TextButton&>(titled(window.editor, "Record take"));
    CHECK(record.isEnabled());
    record.onClick();
    CHECK(window.bench.current.capture.state == measure::CaptureState::recording);
    CHECK(record.getButtonText() == "End the take");
    CHECK(titled(window.editor, "Bike").getDescription().contains("Recording"));
    record.onClick();

    window.bench.makeUpTakes();
    window.editor.refresh();
    juce::Component& takes = titled(window.editor, "Takes and curves");
    CHECK(takes.getDescription().isNotEmpty());
    auto& list = dynamic_cast<juce::ListBox&>(titled(window.editor, "Takes"));
    CHECK(isSeen(list));
    CHECK(list.getModel()->getNumRows() == 4);
    list.getModel()->returnKeyPressed(0);
    CHECK_FALSE(window.bench.current.takes[0].used);
}

TEST_CASE("Choices of the analyser, of curves and of the microphone reach the bench",
          "[plugin][editor]")
{
    Window window;
    window.bench.makeUpTakes();
    window.bench.current.input.open = true;
    window.bench.current.analyser.binHz = 11.71875;
    window.bench.current.analyser.noiseBandwidthHz = 17.578125;
    window.editor.goTo(gui::Place::bike);
    const auto choose = [&](const char* title, int index) {
        auto& box = dynamic_cast<juce::ComboBox&>(titled(window.editor, title));
        box.setSelectedItemIndex(index, juce::dontSendNotification);
        box.onChange();
        window.editor.refresh();
    };
    auto& store = dynamic_cast<juce::Button&>(titled(window.editor, "Store trace"));
    for (std::size_t index = 0; index < gui::analyserFftChoices.size(); ++index) {
        choose("Band width", 4 + static_cast<int>(index));
        CHECK(window.bench.analyserFft == gui::analyserFftChoices[index]);
    }
    CHECK(partOf<gui::AnalyserPanel>(window.editor).getDescription().contains("17.58 Hz wide"));
    CHECK_FALSE(store.isEnabled());
    choose("Band width", 2);
    CHECK(window.bench.analyserFft == 0);
    CHECK(window.bench.analyserBands == 12);
    CHECK(store.isEnabled());

    choose("Smoothing", 5);
    CHECK(window.bench.current.curveDisplay.smoothing == gui::CurveSmoothing::asHeard);
    choose("Window", 3);
    CHECK(window.bench.current.curveDisplay.window == gui::CurveWindow::milliseconds);
    CHECK(window.bench.current.curveDisplay.windowMs == 20.0);
    CHECK(window.bench.current.curveDisplay.smoothing == gui::CurveSmoothing::asHeard);
    choose("Window", 8);
    CHECK(window.bench.current.curveDisplay.window == gui::CurveWindow::cycles);
    CHECK(window.bench.current.curveDisplay.windowCycles == 8.0);
    choose("Window", 0);
    CHECK(window.bench.current.curveDisplay.window == gui::CurveWindow::whole);

    choose("Microphone stands at", 1);
    CHECK(window.bench.current.microphone.incidence == measure::Incidence::ninetyDegrees);
    window.bench.current.microphone.ninetyDegreesFile = "side.txt";
    window.editor.refresh();
    auto& table =
        dynamic_cast<juce::TextButton&>(titled(window.editor, "Microphone table, 90 degrees"));
    CHECK(table.getButtonText() == "side.txt");
    dynamic_cast<juce::Button&>(titled(window.editor, "Forget table, 90 degrees")).onClick();
    CHECK(window.bench.current.microphone.ninetyDegreesFile.isEmpty());
}

TEST_CASE("Curve, distortion and confidence are drawn and described, a job's state is not added "
          "again",
          "[plugin][editor]")
{
    for (const bool light : {false, true}) {
        Window window;
        window.model.light = light;
        window.bench.makeUpTakes();
        window.editor.goTo(gui::Place::bike);
        window.editor.bike()->showPanel(gui::BikePanel::curves);
        auto& panel = partOf<gui::MeasuredPanel>(window.editor);
        for (const auto& [title, words] :
             {std::pair {"Curve", "saved as measured"}, std::pair {"Distortion", "(1.0 %)"},
              std::pair {"Confidence", "time of arrival"}}) {
            dynamic_cast<juce::Button&>(titled(panel, title)).onClick();
            CHECK(panel.getDescription().contains(words));
            CHECK(isSeen(titled(panel, "Smoothing")) == (juce::String(title) == "Curve"));
            CHECK(test::countColours(panel.createComponentSnapshot(panel.getLocalBounds())) > 30);
        }
        auto sides = std::make_shared<gui::SpeakersView>();
        sides->groupWords = "By speakers: left, right.";
        sides->matchWords = "The right against the left: made up.";
        sides->warning = "Warning: made up.";
        window.bench.current.speakers = std::move(sides);
        window.editor.refresh();
        for (const auto& [title, words] :
             {std::pair {"Curve", "Warning: made up."},
              std::pair {"Confidence", "Warning: made up. The right against the left: made up. By "
                                       "speakers: left, right. "}}) {
            dynamic_cast<juce::Button&>(titled(panel, title)).onClick();
            CHECK(panel.getDescription().contains(words));
        }
        auto& add = dynamic_cast<juce::Button&>(titled(panel, "Add to job"));
        CHECK(add.isEnabled());
        auto inJob = std::make_shared<gui::MeasuredView>(*window.bench.current.measured[0]);
        inJob->isInJob = true;
        window.bench.current.measured[0] = std::move(inJob);
        window.editor.refresh();
        CHECK_FALSE(add.isEnabled());
    }
}

TEST_CASE("Places are drawn in both looks", "[plugin][editor]")
{
    for (const bool light : {false, true}) {
        Window window;
        window.model.light = light;
        window.bench.makeUpTakes();
        for (const gui::Place place : gui::allPlaces) {
            window.editor.goTo(place);
            CHECK(test::countColours(
                      window.editor.createComponentSnapshot(window.editor.getLocalBounds()))
                  > 50);
        }
    }
}
