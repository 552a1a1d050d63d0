// Keys of the window as the window hands them out: to what has the keyboard, and up from there.
#include "Core/Dsp/Units.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/TabKey.h"
#include "Support/EventRig.h"
#include "Support/JobRig.h"
#include "Support/OffscreenWindow.h"

#include <catch2/catch.hpp>

#include <set>

using namespace saddletone;
using test::OffscreenWindow;
namespace ids = gui::parameterIds;

namespace {

const juce::KeyPress tabKey(juce::KeyPress::tabKey);
const juce::KeyPress shiftTabKey(juce::KeyPress::tabKey, juce::ModifierKeys::shiftModifier, 0);
const juce::KeyPress escapeKey(juce::KeyPress::escapeKey);
const juce::KeyPress spaceKey(juce::KeyPress::spaceKey, 0, ' ');

juce::KeyPress commandKey(char letter)
{
    return {letter, juce::ModifierKeys::commandModifier, 0};
}

/** Listen and the bench, with an event to be opened. */
struct ListenWindow {
    test::EventRig rig;
    test::RecordingBench bench;
    gui::AuditionEditor editor {rig.model, &bench, nullptr, nullptr, nullptr, &rig.desk};
    OffscreenWindow window {editor};

    explicit ListenWindow(std::size_t numCandidates) : rig(numCandidates) { editor.refresh(); }

    bool type(const juce::KeyPress& key)
    {
        const bool wasUsed = window.type(key);
        editor.refresh();
        return wasUsed;
    }
    bool type(char character) { return type(test::characterKey(character)); }
};

/** Titles of what Tab can get to from where the window opens, and of what that lies in: the text of a
    slider stands for the slider. By title, as a list may make its rows anew on the way. */
std::set<juce::String> reachedByTab(OffscreenWindow& window, const juce::KeyPress& key)
{
    std::set<juce::String> reached;
    juce::Component::SafePointer<juce::Component> first;
    for (int step = 0; step < 300; ++step) {
        window.type(key);
        juce::Component* const focused = juce::Component::getCurrentlyFocusedComponent();
        if (focused == nullptr || focused == first.getComponent())
            break;
        if (step == 0)
            first = focused;
        INFO(focused->getTitle());
        CHECK(test::isSeen(*focused));
        for (juce::Component* each = focused; each != nullptr; each = each->getParentComponent())
            reached.insert(each->getTitle());
    }
    return reached;
}

void checkReached(juce::Component& editor, OffscreenWindow& window, std::size_t fewest)
{
    for (const juce::KeyPress& key : {tabKey, shiftTabKey}) {
        editor.grabKeyboardFocus();
        const auto reached = reachedByTab(window, key);
        std::vector<juce::Component*> controls;
        test::collectControls(editor, controls);
        std::erase_if(controls, [](juce::Component* each) {
            return !test::isSeen(*each) || !each->isEnabled();
        });
        CHECK(controls.size() >= fewest);
        for (juce::Component* const control : controls) {
            INFO(key.getTextDescription() << " to " << control->getTitle());
            CHECK(control->getTitle().isNotEmpty());
            CHECK(reached.count(control->getTitle()) == 1);
        }
    }
}

} // namespace

TEST_CASE("Numbers, space, B, arrows and Escape work in the window as it opens",
          "[plugin][editor][keys]")
{
    ListenWindow window(8);
    for (char number = '1'; number <= '8'; ++number) {
        CHECK(window.type(number));
        CHECK(window.rig.get(ids::candidate) == number - '0');
    }
    CHECK(window.type(spaceKey));
    CHECK(window.rig.model.current.player.playing);
    CHECK(window.type(spaceKey));
    CHECK_FALSE(window.rig.model.current.player.playing);
    CHECK(window.type('b'));
    CHECK(window.rig.get(ids::bypass) == 1.0);
    CHECK(window.type('B'));
    CHECK(window.rig.get(ids::bypass) == 0.0);
    const auto mph = [&] { return dsp::kmhToMph(window.rig.get(ids::speedKmh)); };
    for (const auto& [code, expectedMph] :
         {std::pair {juce::KeyPress::upKey, 5.0}, std::pair {juce::KeyPress::rightKey, 6.0},
          std::pair {juce::KeyPress::leftKey, 5.0}, std::pair {juce::KeyPress::downKey, 0.0}}) {
        CHECK(window.type(juce::KeyPress(code)));
        CHECK(mph() == Approx(expectedMph).margin(1e-3));
    }
    window.type(spaceKey);
    window.rig.set(ids::outputLevelDb, -10.0);
    CHECK(window.type(escapeKey));
    CHECK_FALSE(window.rig.model.current.player.playing);
    CHECK(window.rig.get(ids::outputLevelDb) == -60.0);
}

TEST_CASE("Ctrl with a number goes to each place from each other", "[plugin][editor][keys]")
{
    test::JobWindow jobs;
    jobs.rig.openMadeUpJob();
    jobs.settle();
    OffscreenWindow window(*jobs.editor);
    for (const gui::Place from : gui::allPlaces)
        for (const gui::Place to : gui::allPlaces) {
            jobs.editor->goTo(from);
            CHECK(window.type(commandKey(static_cast<char>('1' + static_cast<int>(to)))));
            CHECK(jobs.editor->currentPlace() == to);
        }
}

TEST_CASE("S opens the seat and closes it, E the event, and neither at another place",
          "[plugin][editor][keys]")
{
    test::JobWindow jobs;
    jobs.rig.openMadeUpJob();
    jobs.settle();
    OffscreenWindow window(*jobs.editor);
    REQUIRE(jobs.editor->seat() != nullptr);
    CHECK(window.type('s'));
    CHECK(jobs.editor->seat()->isVisible());
    CHECK(window.type('S'));
    CHECK_FALSE(jobs.editor->seat()->isVisible());
    jobs.editor->goTo(gui::Place::bike);
    window.type('s');
    jobs.editor->goTo(gui::Place::listen);
    CHECK_FALSE(jobs.editor->seat()->isVisible());

    ListenWindow listen(2);
    listen.editor.goTo(gui::Place::signals);
    listen.type('e');
    CHECK_FALSE(listen.editor.isInEvent());
    listen.editor.goTo(gui::Place::listen);
    CHECK(listen.type('E'));
    CHECK(listen.editor.isInEvent());
}

TEST_CASE("Tab leads from the window as it opens to every control, and Shift+Tab back",
          "[plugin][editor][keys]")
{
    test::JobWindow jobs;
    OffscreenWindow window(*jobs.editor);
    jobs.settle();
    checkReached(*jobs.editor, window, 5); // where to begin
    jobs.rig.openMadeUpJob();
    jobs.bench.makeUpTakes();
    jobs.settle();
    for (const gui::Place place : gui::allPlaces) {
        jobs.editor->goTo(place);
        jobs.settle();
        CAPTURE(static_cast<int>(place));
        checkReached(*jobs.editor, window, 8);
    }
    jobs.editor->goTo(gui::Place::listen);
    window.type('s');
    jobs.settle();
    checkReached(*jobs.editor, window, 15);
    window.type('r');
    jobs.settle();
    checkReached(*jobs.editor, window, 15);
    window.type('r');
    window.type('t');
    jobs.settle();
    checkReached(*jobs.editor, window, 8);
}

TEST_CASE("Tab goes into a container that has the keyboard, and past one that has nothing",
          "[plugin][keys]")
{
    juce::Component container;
    container.setSize(100, 100);
    container.setWantsKeyboardFocus(true);
    container.setFocusContainerType(juce::Component::FocusContainerType::keyboardFocusContainer);
    OffscreenWindow window(container);
    CHECK_FALSE(gui::tabInto(container, tabKey));
    juce::TextButton first("first");
    juce::TextButton last("last");
    first.setBounds(0, 0, 50, 50);
    last.setBounds(50, 0, 50, 50);
    container.addAndMakeVisible(first);
    container.addAndMakeVisible(last);
    CHECK_FALSE(gui::tabInto(container, spaceKey));
    CHECK(gui::tabInto(container, tabKey));
    CHECK(first.hasKeyboardFocus(false));
    CHECK_FALSE(gui::tabInto(container, tabKey)); // JUCE goes on from here
    container.grabKeyboardFocus();
    CHECK(gui::tabInto(container, shiftTabKey));
    CHECK(last.hasKeyboardFocus(false));
}
