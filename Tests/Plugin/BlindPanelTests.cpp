#include "Gui/AuditionEditor.h"
#include "Gui/BlindPanel.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Support/BlindRig.h"
#include "Support/EditorFixtures.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using gui::BlindStage;
using test::characterKey;
namespace ids = gui::parameterIds;

namespace {

const juce::KeyPress returnKey(juce::KeyPress::returnKey);
const juce::KeyPress escapeKey(juce::KeyPress::escapeKey);

/** The plug-in's window over a real processor. */
struct BlindWindow {
    test::BlindRig rig;
    test::RecordingBench bench;
    gui::AuditionEditor editor {*rig.processor, &bench, nullptr, &rig.desk()};

    BlindWindow()
    {
        editor.setVisible(true);
        editor.refresh();
    }

    void press(const juce::KeyPress& key)
    {
        rig.play(480); // or there would be nothing to answer to
        editor.keyPressed(key);
        editor.refresh();
    }
    void type(const char* characters)
    {
        for (const char* each = characters; *each != '\0'; ++each)
            press(characterKey(*each));
    }
    gui::BlindView view() { return rig.desk().blindView(); }

    gui::BlindPanel& panel()
    {
        for (juce::Component* const child : editor.getChildren())
            if (auto* const found = dynamic_cast<gui::BlindPanel*>(child))
                return *found;
        FAIL("there is no blind test");
        throw std::logic_error("unreachable");
    }
};

/** Everything a component and what is in it says to eyes, ears and pointer, of what can be seen. */
void collectWords(juce::Component& component, juce::StringArray& words)
{
    if (!component.isVisible())
        return;
    words.add(component.getTitle());
    words.add(component.getDescription());
    words.add(component.getName());
    words.add(component.getHelpText());
    if (auto* const tip = dynamic_cast<juce::SettableTooltipClient*>(&component))
        words.add(tip->getTooltip());
    if (auto* const button = dynamic_cast<juce::Button*>(&component))
        words.add(button->getButtonText());
    for (juce::Component* const child : component.getChildren())
        collectWords(*child, words);
}

/** Controls that can be seen, with their areas in the window. */
std::vector<std::pair<juce::Component*, juce::Rectangle<int>>> seenControls(juce::Component& window)
{
    std::vector<juce::Component*> controls;
    test::collectControls(window, controls);
    std::vector<std::pair<juce::Component*, juce::Rectangle<int>>> seen;
    for (juce::Component* const control : controls) {
        bool isSeen = true;
        for (const juce::Component* each = control; each != &window;
             each = each->getParentComponent())
            isSeen = isSeen && each->isVisible();
        if (isSeen)
            seen.emplace_back(control, window.getLocalArea(control, control->getLocalBounds()));
    }
    return seen;
}

/** Controls lie inside the window, apart, large enough, and have a name. */
void checkControls(gui::AuditionEditor& editor, std::size_t fewest)
{
    for (const auto& [width, height] :
         {std::pair {1024, 700}, std::pair {1280, 720}, std::pair {2560, 1440}}) {
        editor.setSize(width, height);
        const auto controls = seenControls(editor);
        CHECK(controls.size() >= fewest);
        for (std::size_t first = 0; first < controls.size(); ++first) {
            const auto& [control, area] = controls[first];
            INFO(width << "x" << height << " " << control->getTitle());
            CHECK(control->getTitle().isNotEmpty());
            CHECK(control->getDescription().isNotEmpty());
            CHECK((control->getWantsKeyboardFocus() || !control->isEnabled()));
            CHECK(editor.getLocalBounds().contains(area));
            CHECK(area.getHeight() >= 28);
            for (std::size_t second = first + 1; second < controls.size(); ++second) {
                INFO(controls[second].first->getTitle());
                CHECK_FALSE(area.intersects(controls[second].second));
            }
        }
    }
    editor.setSize(1280, 720);
}

} // namespace

TEST_CASE("An ABX run can be gone through with keys alone", "[plugin][blind][editor]")
{
    BlindWindow window;
    CHECK_FALSE(window.panel().isVisible());
    window.type("t");
    CHECK(window.panel().isVisible());
    window.press(returnKey); // the first two candidates are chosen already, 16 trials
    REQUIRE(window.view().stage == BlindStage::running);
    CHECK(window.view().numTrials == 16);
    window.type("x");
    CHECK(window.view().place == 2);
    window.type("b");
    CHECK(window.view().place == 1);
    window.type("A");
    CHECK(window.view().place == 0);
    CHECK(gui::parameterValue(window.rig.processor->parameters(), ids::bypass) == 0.0);

    window.press(returnKey); // nothing is answered yet
    CHECK(window.view().numAnswered == 0);
    for (int trial = 0; trial < 16; ++trial) {
        CHECK(window.view().numAnswered == static_cast<std::size_t>(trial));
        window.type("x1");
        if (trial % 2 == 1)
            window.type("2"); // changed before it was given
        window.press(returnKey);
        window.press(returnKey); // a key held down answers once only
    }
    CHECK(window.view().stage == BlindStage::over);
    const auto runs = window.rig.storedRuns();
    REQUIRE(runs.size() == 1);
    CHECK(runs[0].candidates[0].name == "As delivered");
    for (std::size_t trial = 0; trial < 16; ++trial)
        CHECK(runs[0].trials[trial].answer == trial % 2);
    window.type("n");
    CHECK(window.view().stage == BlindStage::idle);
    CHECK(window.panel().isVisible());
    window.press(escapeKey); // quiet, here as everywhere
    CHECK(window.panel().isVisible());
    CHECK(gui::parameterValue(window.rig.processor->parameters(), ids::outputLevelDb) == -60.0);
    window.type("t");
    CHECK_FALSE(window.panel().isVisible());
}

TEST_CASE("A preference run goes with letters or numbers and Return", "[plugin][blind][editor]")
{
    BlindWindow window;
    window.type("t");
    std::vector<juce::Component*> controls;
    test::collectControls(window.panel(), controls);
    for (juce::Component* const control : controls)
        if (control->getTitle() == "Which is liked best?")
            dynamic_cast<juce::Button&>(*control).onClick();
    window.press(returnKey);
    REQUIRE(window.view().stage == BlindStage::running);
    REQUIRE(window.view().hasHeard.size() == 3);
    for (int trial = 0; trial < 16; ++trial) {
        window.type(trial % 2 == 0 ? "abc" : "123");
        CHECK(window.view().place == 2);
        window.type("b");
        window.press(returnKey);
    }
    REQUIRE(window.view().stage == BlindStage::over);
    const auto runs = window.rig.storedRuns();
    REQUIRE(runs.size() == 1);
    CHECK(runs[0].kind == audition::BlindKind::preference);
    for (const audition::BlindTrial& trial : runs[0].trials)
        CHECK(trial.answer == 1);
}

TEST_CASE("A running blind test shows no name, no curve and no way to them",
          "[plugin][blind][editor]")
{
    BlindWindow window;
    window.type("t");
    juce::StringArray before;
    collectWords(window.editor, before);
    CHECK(before.joinIntoString("\n").contains("Touring profile"));
    window.press(returnKey);
    REQUIRE(window.view().stage == BlindStage::running);
    const auto look = [&] {
        juce::StringArray words;
        collectWords(window.editor, words);
        return words.joinIntoString("\n");
    };
    for (int trial = 0; trial < 3; ++trial) {
        window.type("x");
        for (const auto& candidate : window.rig.processor->snapshot().job->candidates)
            CHECK_FALSE(look().contains(candidate.name));
        for (juce::Component* const child : window.editor.getChildren())
            if (dynamic_cast<gui::PlateRow*>(child) != nullptr
                || dynamic_cast<gui::ResponseView*>(child) != nullptr
                || dynamic_cast<gui::SoundPanel*>(child) != nullptr
                || dynamic_cast<gui::RoadControl*>(child) != nullptr
                || dynamic_cast<gui::PlaceStops*>(child) != nullptr)
                CHECK_FALSE(child->isVisible());
        window.type("1");
        window.press(returnKey);
    }
    // Nowhere else, nothing else.
    window.press(juce::KeyPress('1', juce::ModifierKeys::commandModifier, 0));
    CHECK(window.editor.currentPlace() == gui::Place::listen);
    window.editor.goTo(gui::Place::bike);
    CHECK(window.editor.currentPlace() == gui::Place::listen);
    const double speedBefore =
        gui::parameterValue(window.rig.processor->parameters(), ids::speedKmh);
    window.press(juce::KeyPress(juce::KeyPress::upKey));
    CHECK(gui::parameterValue(window.rig.processor->parameters(), ids::speedKmh) == speedBefore);
    const juce::File folder = juce::File::getSpecialLocation(juce::File::tempDirectory);
    CHECK_FALSE(window.editor.isInterestedInFileDrag({folder.getFullPathName()}));
    window.editor.showBlindTest(false);
    CHECK(window.panel().isVisible());
    // A right answer looks like a wrong one.
    CHECK_FALSE(look().containsIgnoreCase("correct"));
    CHECK_FALSE(look().containsIgnoreCase("p ="));
}

TEST_CASE("Two places that play the same look the same", "[plugin][blind][editor]")
{
    BlindWindow window;
    window.type("t");
    window.press(returnKey);
    REQUIRE(window.view().stage == BlindStage::running);
    // The picture depends on the trial and the places heard, and not on the answers or the order.
    const auto pictureOf = [&](char answer) {
        window.type("abx");
        window.type(answer == '1' ? "1" : "2");
        window.press(returnKey);
        window.type("x");
        return window.editor.createComponentSnapshot(window.editor.getLocalBounds());
    };
    const auto first = pictureOf('1');
    window.rig.desk().abandon();
    window.editor.refresh();
    window.type("n");
    window.press(returnKey);
    REQUIRE(window.view().stage == BlindStage::running);
    const auto second = pictureOf('2');
    bool isSame = true;
    for (int y = 0; y < first.getHeight(); ++y)
        for (int x = 0; x < first.getWidth(); ++x)
            isSame = isSame && first.getPixelAt(x, y) == second.getPixelAt(x, y);
    CHECK(isSame);
}

TEST_CASE("Escape is quiet at once and asks before a run is abandoned", "[plugin][blind][editor]")
{
    BlindWindow window;
    window.type("t");
    window.press(returnKey);
    window.type("x1");
    window.press(returnKey);
    window.press(escapeKey);
    CHECK(gui::parameterValue(window.rig.processor->parameters(), ids::outputLevelDb) == -60.0);
    CHECK(window.view().stage == BlindStage::running);
    CHECK(window.panel().getDescription().contains("Abandon"));
    window.type("x1"); // not while it asks
    CHECK_FALSE(window.view().canAnswer);
    window.press(returnKey);
    CHECK(window.view().stage == BlindStage::running);
    CHECK(window.panel().getDescription().contains("Trial 2 of 16"));
    // Nobody can answer to silence.
    CHECK(window.panel().getDescription().contains("turned down"));
    window.type("x1");
    window.press(returnKey);
    CHECK(window.view().numAnswered == 1);
    gui::setParameter(window.rig.processor->parameters(), ids::outputLevelDb, -20.0);
    window.editor.refresh();
    window.type("x1");
    window.press(returnKey);
    CHECK(window.view().numAnswered == 2);
    window.press(escapeKey);
    window.type("q");
    CHECK(window.view().stage == BlindStage::over);
    CHECK(window.view().headline.contains("Abandoned after 2 of 16"));
    REQUIRE(window.rig.storedRuns().size() == 1);
    CHECK(window.rig.storedRuns()[0].isAbandoned);
}

TEST_CASE("A run goes on in a window opened anew", "[plugin][blind][editor]")
{
    BlindWindow window;
    window.type("t");
    window.press(returnKey);
    gui::AuditionEditor another(*window.rig.processor, nullptr, nullptr, &window.rig.desk());
    another.setVisible(true);
    another.refresh();
    juce::StringArray words;
    collectWords(another, words);
    CHECK(words.joinIntoString("\n").contains("Trial 1 of 16"));
    CHECK_FALSE(words.joinIntoString("\n").contains("As delivered"));
}

TEST_CASE("Only what can be tested can be started", "[plugin][blind][editor]")
{
    BlindWindow window;
    window.type("t");
    window.type("2"); // one is left
    window.press(returnKey);
    CHECK(window.view().stage == BlindStage::idle);
    CHECK(window.panel().getDescription().contains("Choose two candidates"));
    window.type("3");
    window.press(returnKey);
    REQUIRE(window.view().stage == BlindStage::running);
    window.rig.desk().abandon();
    REQUIRE(window.rig.storedRuns().size() == 1);
    CHECK(window.rig.storedRuns()[0].candidates[1].name == "Touring profile, less boom");
}

TEST_CASE("Controls of the blind test stay apart and named at every size and stage",
          "[plugin][blind][editor]")
{
    BlindWindow window;
    window.type("t");
    checkControls(window.editor, 9);
    window.press(returnKey);
    REQUIRE(window.view().stage == BlindStage::running);
    checkControls(window.editor, 8);
    window.press(escapeKey);
    checkControls(window.editor, 3);
    window.type("q");
    checkControls(window.editor, 2);
}
