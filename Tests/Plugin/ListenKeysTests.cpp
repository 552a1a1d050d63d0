// Keys of Listen, from wherever the keyboard happens to be.
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Support/EditorFixtures.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using test::characterKey;
namespace ids = gui::parameterIds;

namespace {

/** Hands a key to a component and its parents, as the window does for the one that has the keyboard. */
bool typeAt(juce::Component& focused, const juce::KeyPress& key)
{
    for (juce::Component* target = &focused; target != nullptr;
         target = target->getParentComponent())
        if (target->keyPressed(key))
            return true;
    return false;
}

/** Everything in a window that can have the keyboard, but for text fields. */
void collectFocusable(juce::Component& component, std::vector<juce::Component*>& found)
{
    for (juce::Component* const child : component.getChildren()) {
        if (dynamic_cast<juce::TextEditor*>(child) != nullptr)
            continue;
        if (!child->isVisible())
            continue;
        if (child->getWantsKeyboardFocus())
            found.push_back(child);
        collectFocusable(*child, found);
    }
}

} // namespace

TEST_CASE("Keys of Listen work wherever the keyboard is", "[plugin][editor]")
{
    test::RecordingModel model;
    test::RecordingBench bench;
    model.openMadeUpJob(3);
    gui::AuditionEditor editor(model, &bench);
    editor.showRide(true);
    editor.refresh();
    std::vector<juce::Component*> focusable;
    collectFocusable(editor, focusable);
    CHECK(focusable.size() >= 20);
    const auto get = [&](const char* id) { return gui::parameterValue(model.parameters(), id); };
    for (juce::Component* const each : focusable) {
        if (!each->isEnabled())
            continue;
        INFO(each->getTitle() << " in " << each->getParentComponent()->getTitle());
        for (const int number : {2, 3, 1}) {
            CHECK(typeAt(*each, characterKey(static_cast<char>('0' + number))));
            CHECK(get(ids::candidate) == number);
        }
        model.current.player.playing = false;
        editor.refresh();
        CHECK(typeAt(*each, juce::KeyPress(juce::KeyPress::spaceKey)));
        CHECK(model.current.player.playing);
        CHECK(typeAt(*each, characterKey('b')));
        CHECK(get(ids::bypass) == 1.0);
        CHECK(typeAt(*each, characterKey('b')));
        // Sliders, choices and lists keep the arrows: they could not be used without them.
        const bool ownsArrows =
            dynamic_cast<juce::Slider*>(each) != nullptr
            || dynamic_cast<juce::ComboBox*>(each) != nullptr
            || dynamic_cast<juce::Slider*>(each->getParentComponent()) != nullptr
            || dynamic_cast<juce::ListBox*>(each) != nullptr
            || dynamic_cast<juce::Viewport*>(each) != nullptr;
        if (!ownsArrows) {
            gui::setParameter(model.parameters(), ids::speedKmh, 0.0);
            CHECK(typeAt(*each, juce::KeyPress(juce::KeyPress::rightKey)));
            CHECK(get(ids::speedKmh) > 1.0);
        }
        gui::setParameter(model.parameters(), ids::outputLevelDb, -10.0);
        CHECK(typeAt(*each, juce::KeyPress(juce::KeyPress::escapeKey)));
        CHECK(get(ids::outputLevelDb) == -60.0);
        CHECK_FALSE(model.current.player.playing);
    }
}
