// Notes that must be answered first: what is beside them takes neither mouse nor keys meanwhile.
#include "Support/MessageLoop.h"
#include "Support/Scenes.h"

#include <catch2/catch.hpp>

#include <utility>
#include <vector>

using namespace saddletone;
using test::Stage;

namespace {

juce::Component& noteOf(Stage& stage, const juce::String& title)
{
    juce::Component* const note = test::findTitled(stage.editor(), title);
    INFO(title);
    REQUIRE(note != nullptr);
    return *note;
}

/** Presses everything that is seen beside the note, in a part of the window; nothing of it feels it,
    and the note has the keyboard. */
void checkHeld(Stage& stage, juce::Component& part, juce::Component& note)
{
    const auto noteArea = stage.window.getLocalArea(&note, note.getLocalBounds());
    std::vector<juce::Component*> controls;
    test::collectControls(part, controls);
    int numBeside = 0;
    for (juce::Component* const control : controls) {
        const auto middle = stage.window.middleOf(*control);
        if (note.isParentOf(control) || !test::isSeen(*control) || noteArea.contains(middle))
            continue;
        ++numBeside;
        INFO(control->getTitle());
        juce::Component* const hit = stage.window.hitAt(middle);
        REQUIRE(hit != nullptr);
        CHECK(hit != control);
        CHECK_FALSE(control->isParentOf(hit));
        stage.window.clickAt(middle);
        CHECK(note.hasKeyboardFocus(true));
        CHECK(note.isVisible());
    }
    CHECK(numBeside >= 5);
}

} // namespace

TEST_CASE("A note that must be answered holds the mouse until it is", "[plugin][editor][keys]")
{
    struct Held {
        const char* scene;
        const char* title;
        const char* answer;
    };
    for (const Held& held : {Held {"safety note", "Before you listen", "I understand"},
                             Held {"unsaved", "Changes are not saved", "Stay here"},
                             Held {"tuning found after a crash", "A tuning was not saved last time",
                                   "Leave it as saved"}}) {
        INFO(held.scene);
        const test::Scene& scene = test::sceneOf(held.scene);
        Stage stage(scene.needsJob);
        scene.set(stage);
        stage.jobs.settle();
        stage.editor().refresh();
        const gui::Place place = stage.editor().currentPlace();
        juce::Component& note = noteOf(stage, held.title);
        for (const auto& [width, height] : {std::pair {1280, 720}, std::pair {1703, 951}}) {
            stage.window.resizeTo(width, height);
            checkHeld(stage, stage.editor(), note);
        }
        // Nor do keys or files get past it.
        stage.window.type(juce::KeyPress('1', juce::ModifierKeys::commandModifier, 0));
        CHECK(stage.editor().currentPlace() == place);
        CHECK_FALSE(stage.editor().isInterestedInFileDrag({"/a/job.json"}));

        stage.window.click(noteOf(stage, held.answer));
        test::runMessages(5);
        stage.editor().refresh();
        CHECK(test::findTitled(stage.editor(), held.title) == nullptr);
        CHECK(stage.editor().isInterestedInFileDrag({"/a/job.json"}));
        // And then the window is as ever.
        juce::Component& menu = noteOf(stage, "Job menu");
        juce::Component* const hit = stage.window.hitAt(stage.window.middleOf(menu));
        CHECK((hit == &menu || menu.isParentOf(hit)));
        CHECK(stage.editor().hasKeyboardFocus(true));
    }
}

TEST_CASE("The question about a loud level holds its place, and leaving is an answer",
          "[plugin][editor][keys]")
{
    Stage stage(true);
    test::sceneOf("loud question").set(stage);
    stage.editor().refresh();
    juce::Component& note = noteOf(stage, juce::String::fromUTF8("Louder than \xe2\x88\x92"
                                                                 "12 dBFS?"));
    checkHeld(stage, *note.getParentComponent(), note);
    CHECK(stage.jobs.bench.current.output.asksForLoud);
    stage.window.click(noteOf(stage, juce::String::fromUTF8("Stay at \xe2\x88\x92"
                                                            "12 dBFS")));
    CHECK_FALSE(stage.jobs.bench.current.output.asksForLoud);
    CHECK_FALSE(stage.jobs.bench.agreed);
}
