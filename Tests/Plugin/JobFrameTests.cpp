#include "Gui/ElementWords.h"
#include "Plugin/Paths.h"
#include "Support/JobRig.h"

#include <catch2/catch.hpp>

#include <algorithm>

using namespace saddletone;
using test::JobWindow;
namespace ids = gui::parameterIds;

namespace {

/** The item of a menu whose words begin so, submenus too; a failed test if there is none. */
juce::PopupMenu::Item itemOf(const juce::PopupMenu& menu, const juce::String& beginning)
{
    juce::PopupMenu::MenuItemIterator iterator(menu, true);
    while (iterator.next())
        if (iterator.getItem().text.startsWith(beginning))
            return iterator.getItem();
    FAIL("no item " << beginning);
    return {};
}

juce::PopupMenu menuOf(JobWindow& window)
{
    return window.editor->jobs()->menu().make(window.rig.processor.snapshot(), false);
}

void checkControls(JobWindow& window)
{
    std::vector<juce::Component*> controls;
    test::collectControls(*window.editor, controls);
    std::erase_if(controls, [&](juce::Component* each) {
        for (juce::Component* part = each; part != window.editor.get();
             part = part->getParentComponent())
            if (!part->isVisible())
                return true;
        return false;
    });
    CHECK(controls.size() >= 5);
    for (std::size_t first = 0; first < controls.size(); ++first) {
        const auto area =
            window.editor->getLocalArea(controls[first], controls[first]->getLocalBounds());
        INFO(controls[first]->getTitle() << " at " << area.toString());
        CHECK(controls[first]->getTitle().isNotEmpty());
        CHECK(controls[first]->getDescription().isNotEmpty());
        // What is greyed out is passed over.
        CHECK((controls[first]->getWantsKeyboardFocus() || !controls[first]->isEnabled()));
        CHECK(window.editor->getLocalBounds().contains(area));
        CHECK(area.getHeight() >= 28);
        for (std::size_t second = first + 1; second < controls.size(); ++second) {
            INFO(controls[second]->getTitle());
            CHECK_FALSE(area.intersects(
                window.editor->getLocalArea(controls[second], controls[second]->getLocalBounds())));
        }
    }
}

} // namespace

TEST_CASE("Without a job the window offers where to begin", "[plugin][shell][editor]")
{
    JobWindow window;
    CHECK(window.shows("Make the demo job"));
    CHECK(window.shows("Title of the job"));
    CHECK(window.shows("Make the tracks"));
    CHECK_FALSE(window.shows("Candidates"));
    // The keys of Listen do nothing behind it.
    CHECK_FALSE(window.editor->keyPressed(test::characterKey('b')));
    CHECK(gui::parameterValue(window.rig.processor.parameters(), ids::bypass) == 0.0);
    for (const auto& [width, height] :
         {std::pair {1024, 700}, std::pair {1280, 720}, std::pair {1920, 1080}}) {
        window.editor->setSize(width, height);
        for (const gui::Place place : gui::allPlaces) {
            window.editor->goTo(place);
            checkControls(window);
        }
    }
    window.editor->goTo(gui::Place::listen);
    window.press("Make the tracks");
    CHECK(window.editor->currentPlace() == gui::Place::signals);
    CHECK_FALSE(window.shows("Make the demo job"));
}

TEST_CASE("A job is started by typing, and the window says what comes next",
          "[plugin][shell][editor]")
{
    JobWindow window;
    window.type("Title of the job", "Quiet at 70");
    window.type("Bike", "Made-up tourer");
    window.type("The customer's question", "Why is it so quiet at 70?");
    window.press("Start the job");
    window.settle();
    CHECK(window.rig.stored().title == "Quiet at 70");
    CHECK_FALSE(window.shows("Title of the job"));
    CHECK(window.shows("There is nothing to hear yet"));
    CHECK(window.shows("Nothing measured yet: record a take"));
    checkControls(window);
    window.press("Nothing measured yet: record a take");
    CHECK(window.editor->currentPlace() == gui::Place::bike);
    window.editor->goTo(gui::Place::listen);
    window.press("Record at the bike");
    CHECK(window.editor->currentPlace() == gui::Place::bike);
}

TEST_CASE("The Report place is the fifth on the road and tells what is missing, and where",
          "[plugin][shell][editor]")
{
    JobWindow window;
    window.rig.openMadeUpJob();
    CHECK(window.editor->keyPressed(juce::KeyPress('5', juce::ModifierKeys::commandModifier, 0)));
    CHECK(window.editor->currentPlace() == gui::Place::report);
    window.settle();
    CHECK(window.titled("What the report holds").getDescription().contains("Measured:"));
    CHECK(window.titled("What the report holds").getDescription().contains("Candidate 2"));
    CHECK(window.shows("No state with the engine running: many radios play another curve then. "
                       "Go to Bike"));
    for (const auto& [width, height] :
         {std::pair {1024, 700}, std::pair {1280, 720}, std::pair {1920, 1080}}) {
        window.editor->setSize(width, height);
        checkControls(window);
    }
    const auto gapsBefore = gui::reportGaps(window.rig.desk->jobSnapshot(), false).size();
    window.type("The customer's question", "Does it drone?");
    window.settle();
    CHECK(gui::reportGaps(window.rig.desk->jobSnapshot(), false).size() == gapsBefore - 1);
    CHECK(window.titled("What the report holds").getDescription().startsWith("Does it drone?"));
    window.press("Write the report");
    window.settle();
    CHECK(window.rig.desk->jobSnapshot().report.written.existsAsFile());
    window.press("Open the report");
    CHECK(window.rig.openedFile == window.rig.desk->jobSnapshot().report.written);
    window.press("Nothing was heard blind yet. Go to Listen");
    CHECK(window.editor->currentPlace() == gui::Place::listen);
}

TEST_CASE("Ctrl+Z takes back the last edit from any place, and the menu says which",
          "[plugin][shell][editor]")
{
    JobWindow window;
    window.rig.openMadeUpJob();
    window.editor->goTo(gui::Place::report);
    window.settle();
    window.type("Bike", "Another bike");
    window.rig.choose(ids::helmet, 0.0);
    window.editor->goTo(gui::Place::signals);
    CHECK(itemOf(menuOf(window), "Undo: helmet").isEnabled);
    CHECK(window.pressCommand('z'));
    CHECK(gui::parameterValue(window.rig.processor.parameters(), ids::helmet) == 1.0);
    itemOf(menuOf(window), "Undo: bike").action();
    CHECK(window.rig.stored().bike != "Another bike");
    CHECK_FALSE(itemOf(menuOf(window), "Nothing to undo").isEnabled);
    CHECK(window.pressCommand('z', juce::ModifierKeys::shiftModifier));
    CHECK(window.rig.stored().bike == "Another bike");
    CHECK(window.pressCommand('y'));
    CHECK(gui::parameterValue(window.rig.processor.parameters(), ids::helmet) == 0.0);
    window.rig.settle();
}

TEST_CASE("An unsaved tuning is asked about before another job takes its place",
          "[plugin][shell][editor]")
{
    JobWindow window;
    window.rig.openMadeUpJob();
    window.rig.tuning->addElement(gui::newElement(tuning::ElementType::peaking));
    window.settle();
    itemOf(menuOf(window), "Close the job").action();
    CHECK(window.shows("Changes are not saved"));
    CHECK(window.rig.desk->openFolder() != juce::File());
    window.press("Go on without saving");
    window.settle();
    CHECK(window.rig.desk->openFolder() == juce::File());
    CHECK(window.shows("Make the demo job"));
}

TEST_CASE("The menu opens jobs from before, shows missing ones, and switches units",
          "[plugin][shell][editor]")
{
    JobWindow window;
    window.rig.openMadeUpJob();
    const juce::File folder = window.rig.desk->openFolder();
    window.rig.desk->closeJob();
    window.settle();
    CHECK(itemOf(menuOf(window), "Made-up job").isEnabled);
    itemOf(menuOf(window), "Made-up job").action();
    window.settle();
    CHECK(window.rig.desk->openFolder() == folder);
    window.rig.desk->closeJob();
    REQUIRE(folder.moveFileTo(folder.getSiblingFile("elsewhere")));
    window.settle();
    CHECK_FALSE(itemOf(menuOf(window), "Made-up job (missing)").isEnabled);
    CHECK(itemOf(menuOf(window), "mph").isTicked);
    itemOf(menuOf(window), "km/h").action();
    CHECK(itemOf(menuOf(window), "km/h").isTicked);
    CHECK(window.rig.processor.snapshot().speedUnit == gui::SpeedUnit::kmh);
}

TEST_CASE("The heading follows what is typed of the job at once", "[plugin][shell]")
{
    gui::OpenJobView open;
    open.fields = {"Title", "Bike", "", ""};
    gui::JobView heard;
    heard.title = "Old title";
    heard.invented = true;
    const gui::Heading heading = gui::headingOf(&heard, &open);
    CHECK(heading.title == "Title");
    CHECK(heading.details == "Bike");
    CHECK(heading.isInvented);
    CHECK(gui::headingOf(&heard, nullptr).title == "Old title");
    CHECK(gui::headingOf(nullptr, nullptr).title == "Saddletone");
}

TEST_CASE("What is done in the background is shown with a way to cancel it",
          "[plugin][shell][editor]")
{
    JobWindow window;
    window.rig.desk->makeDemo({});
    window.editor->refresh();
    CHECK(window.shows("Cancel"));
    CHECK(window.titled("Progress").getDescription().containsIgnoreCase("demo job"));
    window.press("Cancel");
    window.settle();
    CHECK(window.titled("Progress").getDescription().contains("Cancelled"));
    window.press("Dismiss the message");
    window.editor->refresh();
    CHECK_FALSE(window.shows("Progress"));

    // The bench's work is told of in the same place.
    window.bench.current.work = {gui::JobTask::bench, "Importing left.wav", 0.4};
    window.editor->refresh();
    CHECK(window.titled("Progress").getDescription() == "Importing left.wav, 40 %");
    window.press("Cancel");
    CHECK(window.bench.numCancelled == 1);
    window.bench.current.work = {};
    window.editor->refresh();
    CHECK_FALSE(window.shows("Progress"));
}
