// The event as a listener has it: the real window, its mouse and its keys, and a clock that is moved.
#include "Gui/EventScreen.h"

#include "Gui/AuditionEditor.h"
#include "Gui/LevelWords.h"
#include "Plugin/Paths.h"
#include "Support/EventRig.h"
#include "Support/JobRig.h"
#include "Support/OffscreenWindow.h"

#include <catch2/catch.hpp>

#include <fstream>
#include <set>

using namespace saddletone;
using gui::EventScreen;
using gui::EventStage;
using plugin::EventDesk;
using test::OffscreenWindow;
namespace ids = gui::parameterIds;

namespace {

const juce::KeyPress returnKey(juce::KeyPress::returnKey);
const juce::KeyPress escapeKey(juce::KeyPress::escapeKey);
const juce::KeyPress spaceKey(juce::KeyPress::spaceKey, 0, ' ');
const juce::KeyPress tabKey(juce::KeyPress::tabKey);

EventScreen* screenOf(gui::AuditionEditor& editor)
{
    for (juce::Component* const child : editor.getChildren())
        if (auto* const found = dynamic_cast<EventScreen*>(child))
            return found;
    return nullptr;
}

/** The program's window at an event, over a model without a processor. */
struct EventWindow {
    test::EventRig rig;
    test::RecordingBench bench;
    gui::AuditionEditor editor {rig.model, &bench, nullptr, nullptr, nullptr, &rig.desk};
    OffscreenWindow window {editor};
    bool leaveKeyIsDown = false;

    explicit EventWindow(std::size_t numCandidates = 3) : rig(numCandidates) { editor.refresh(); }

    /** Presses E, and Return where the setup is to be left behind. */
    void open(bool shouldBegin = true)
    {
        REQUIRE(window.type('e'));
        screen().isLeaveKeyDown = [this] { return leaveKeyIsDown; };
        if (!shouldBegin)
            return;
        window.type(returnKey);
        REQUIRE(stage() == EventStage::waiting);
    }
    EventScreen& screen()
    {
        EventScreen* const found = screenOf(editor);
        REQUIRE(found != nullptr);
        return *found;
    }
    EventStage stage() { return rig.desk.eventView().stage; }
    void pass(double seconds)
    {
        for (double passed = 0.0; passed < seconds - 0.01; passed += 0.1) {
            rig.pass(0.1);
            editor.refresh();
        }
    }
    juce::Component& titled(const juce::String& title)
    {
        juce::Component* const found = test::findTitled(editor, title);
        INFO(title);
        REQUIRE(found != nullptr);
        return *found;
    }
    void click(const juce::String& title)
    {
        window.click(titled(title));
        editor.refresh();
    }
    bool type(const juce::KeyPress& key)
    {
        const bool wasUsed = window.type(key);
        editor.refresh();
        return wasUsed;
    }
    bool type(char character) { return type(test::characterKey(character)); }
    /** Hears two candidates for long enough to be counted and asked. */
    void listenToTwo()
    {
        window.clickAt({640, 400});
        pass(8.0);
        type('2');
        pass(8.0);
    }
};

/** What can be pressed on the screen, of what is seen. */
std::vector<juce::Component*> seenControls(EventScreen& screen)
{
    std::vector<juce::Component*> controls;
    test::collectControls(screen, controls);
    std::erase_if(controls, [](juce::Component* each) { return !test::isSeen(*each); });
    return controls;
}

void checkTouchTargets(EventWindow& event, std::size_t fewest)
{
    for (const auto& [width, height] :
         {std::pair {1024, 700}, std::pair {1280, 720}, std::pair {1920, 1080}}) {
        event.window.resizeTo(width, height);
        event.editor.refresh();
        const auto controls = seenControls(event.screen());
        CHECK(controls.size() >= fewest);
        for (juce::Component* const control : controls) {
            const auto area = event.window.getLocalArea(control, control->getLocalBounds());
            INFO(width << "x" << height << " " << control->getTitle() << " " << area.toString());
            CHECK(area.getWidth() >= EventScreen::touchSize);
            CHECK(area.getHeight() >= EventScreen::touchSize);
            CHECK(event.window.getLocalBounds().contains(area));
            CHECK(control->getTitle().isNotEmpty());
            CHECK(control->getDescription().isNotEmpty());
            // Nothing lies over it, not even over a corner.
            for (const auto place :
                 {area.getCentre(), area.reduced(3).getTopLeft(), area.reduced(3).getTopRight(),
                  area.reduced(3).getBottomLeft(), area.reduced(3).getBottomRight()}) {
                juce::Component* const hit = event.window.hitAt(place);
                CHECK((hit == control || control->isParentOf(hit)));
            }
        }
    }
    event.window.resizeTo(1280, 720);
}

using Choices = std::vector<std::pair<juce::String, float>>;

/** Every parameter but those that are a listener's: candidate, speed and level. */
Choices heldChoices(juce::AudioProcessor& processor)
{
    Choices choices;
    for (juce::AudioProcessorParameter* const each : processor.getParameters())
        if (auto* const named = dynamic_cast<juce::AudioProcessorParameterWithID*>(each))
            if (named->paramID != ids::candidate && named->paramID != ids::speedKmh
                && named->paramID != ids::outputLevelDb)
                choices.emplace_back(named->paramID, each->getValue());
    return choices;
}

/** Every key there is, alone and with Ctrl, Alt and Shift, but for the way out. */
std::vector<juce::KeyPress> allKeys()
{
    std::vector<int> codes;
    for (int code = ' '; code <= '~'; ++code)
        codes.push_back(code);
    for (const int code :
         {juce::KeyPress::returnKey, juce::KeyPress::escapeKey, juce::KeyPress::backspaceKey,
          juce::KeyPress::deleteKey, juce::KeyPress::insertKey, juce::KeyPress::homeKey,
          juce::KeyPress::endKey, juce::KeyPress::pageUpKey, juce::KeyPress::pageDownKey,
          juce::KeyPress::leftKey, juce::KeyPress::rightKey, juce::KeyPress::upKey,
          juce::KeyPress::downKey, juce::KeyPress::F1Key, juce::KeyPress::F4Key,
          juce::KeyPress::F5Key, juce::KeyPress::F10Key, juce::KeyPress::F11Key})
        codes.push_back(code);
    std::vector<juce::KeyPress> keys;
    for (const int code : codes)
        for (const int modifiers :
             {0, static_cast<int>(juce::ModifierKeys::ctrlModifier),
              static_cast<int>(juce::ModifierKeys::altModifier),
              static_cast<int>(juce::ModifierKeys::shiftModifier),
              juce::ModifierKeys::ctrlModifier | juce::ModifierKeys::shiftModifier})
            keys.emplace_back(code, juce::ModifierKeys(modifiers),
                              code <= '~' && (modifiers & juce::ModifierKeys::ctrlModifier) == 0
                                  ? static_cast<juce::juce_wchar>(code)
                                  : 0);
    return keys;
}

std::string contentsOf(const std::filesystem::path& file)
{
    std::ifstream stream(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(stream), {}};
}

/** An event in the whole program: real processor, desks and job. */
struct WholeEvent {
    test::JobWindow jobs;
    std::unique_ptr<OffscreenWindow> window;

    WholeEvent()
    {
        jobs.rig.openMadeUpJob();
        jobs.openMusic();
        window = std::make_unique<OffscreenWindow>(*jobs.editor);
        window->type('e');
        REQUIRE(screenOf(*jobs.editor) != nullptr);
        screenOf(*jobs.editor)->isLeaveKeyDown = [] { return false; };
        window->type(returnKey);
        window->clickAt({640, 400});
        jobs.editor->refresh();
        REQUIRE(jobs.events.eventView().stage == EventStage::listening);
    }
    void update()
    {
        jobs.seconds += 0.05;
        jobs.events.update();
        jobs.editor->refresh();
    }
};

} // namespace

TEST_CASE("What a listener touches is large enough for a finger, and nothing lies over it",
          "[plugin][event][editor]")
{
    for (const std::size_t numCandidates : {std::size_t {2}, std::size_t {8}}) {
        EventWindow event(numCandidates);
        event.open(false);
        checkTouchTargets(event, 3);
        event.window.type(returnKey);
        event.editor.refresh();
        checkTouchTargets(event, 1); // the way out; all else is to be touched
        event.listenToTwo();
        checkTouchTargets(event, 6 + 2 * numCandidates);
        event.rig.desk.end();
        event.editor.refresh();
        checkTouchTargets(event, 1);
    }
}

TEST_CASE("A touch anywhere begins a turn, and one on a plate later picks it",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    CHECK(event.screen().getBounds() == event.editor.getLocalBounds());
    // The first touch only begins, wherever it is.
    CHECK(test::findTitled(event.editor, "Play or pause") == nullptr);
    event.window.clickAt({300, 200});
    event.editor.refresh();
    CHECK(event.stage() == EventStage::listening);
    CHECK(event.rig.model.current.player.playing);
    CHECK(event.rig.get(ids::candidate) == 1.0);
    CHECK(event.rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    event.pass(10.0);
    CHECK(event.rig.get(ids::outputLevelDb) == Approx(-24.0).margin(0.1));
    event.click("Candidate 3: Candidate with a rather long name 3");
    CHECK(event.rig.get(ids::candidate) == 3.0);
    event.click("Louder");
    event.pass(1.0);
    CHECK(event.rig.get(ids::outputLevelDb) == Approx(-21.0).margin(0.1));
    event.click("Softer");
    event.click("Softer");
    event.pass(1.0);
    CHECK(event.rig.get(ids::outputLevelDb) == Approx(-27.0).margin(0.1));
    event.click("Play or pause");
    CHECK_FALSE(event.rig.model.current.player.playing);
    event.click("Play or pause");
    CHECK(event.rig.model.current.player.playing);
    event.click("Quiet");
    CHECK_FALSE(event.rig.model.current.player.playing);
    CHECK(event.rig.get(ids::outputLevelDb) == EventDesk::silentDb);
}

TEST_CASE("The rider is dragged along the road of an event", "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    event.window.clickAt({640, 400});
    event.editor.refresh();
    auto& road = [&]() -> gui::RoadControl& {
        for (juce::Component* const child : event.screen().getChildren())
            if (auto* const found = dynamic_cast<gui::RoadControl*>(child))
                return *found;
        throw std::logic_error("an event without a road");
    }();
    const auto area = event.window.getLocalArea(&road, road.getLocalBounds());
    event.window.pressAt({area.getX() + area.getWidth() / 4, area.getCentreY()});
    const double slow = event.rig.get(ids::speedKmh);
    CHECK(slow > 10.0);
    event.pass(100.0); // the countdown is on
    CHECK(event.rig.desk.eventView().countdownSeconds.has_value());
    event.window.moveTo({area.getX() + area.getWidth() * 3 / 4, area.getCentreY()});
    CHECK(event.rig.get(ids::speedKmh) > slow + 30.0);
    CHECK_FALSE(event.rig.desk.eventView().countdownSeconds.has_value()); // a drag is a touch
    event.window.letGo();
}

TEST_CASE("An event goes by keys alone: candidates, play, volume, road and quiet",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    event.type('3'); // the first key begins, whatever it is
    CHECK(event.stage() == EventStage::listening);
    CHECK(event.rig.get(ids::candidate) == 1.0);
    for (const char number : {'2', '3', '1'}) {
        event.type(number);
        CHECK(event.rig.get(ids::candidate) == number - '0');
    }
    event.type('8'); // there is none
    CHECK(event.rig.get(ids::candidate) == 1.0);
    event.type(spaceKey);
    CHECK_FALSE(event.rig.model.current.player.playing);
    event.type(spaceKey);
    CHECK(event.rig.model.current.player.playing);
    CHECK(event.rig.desk.eventView().volumeDb == -24.0);
    event.type('+');
    CHECK(event.rig.desk.eventView().volumeDb == -21.0);
    event.type('-');
    event.type('-');
    CHECK(event.rig.desk.eventView().volumeDb == -27.0);
    event.type(juce::KeyPress(juce::KeyPress::upKey));
    const double speed = event.rig.get(ids::speedKmh);
    CHECK(speed > 1.0);
    event.type(juce::KeyPress(juce::KeyPress::rightKey));
    CHECK(event.rig.get(ids::speedKmh) > speed);
    event.type(juce::KeyPress(juce::KeyPress::downKey));
    event.type(juce::KeyPress(juce::KeyPress::leftKey));
    CHECK(event.rig.get(ids::speedKmh) == Approx(0.0).margin(1e-3));
    event.pass(8.0);
    event.type(escapeKey);
    CHECK_FALSE(event.rig.model.current.player.playing);
    CHECK(event.rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    CHECK(event.stage() == EventStage::listening);
}

TEST_CASE("Escape is quiet wherever the keyboard is, and never a way out",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    event.listenToTwo();
    std::set<juce::String> reached;
    for (int step = 0; step < 40; ++step) {
        event.type(tabKey);
        juce::Component* const focused = juce::Component::getCurrentlyFocusedComponent();
        REQUIRE(focused != nullptr);
        INFO(focused->getTitle());
        reached.insert(focused->getTitle());
        CHECK((focused == &event.screen() || event.screen().isParentOf(focused)));
        if (!event.rig.model.current.player.playing)
            event.type(spaceKey);
        CHECK(event.rig.model.current.player.playing);
        event.pass(4.0);
        CHECK(event.rig.get(ids::outputLevelDb) > EventDesk::silentDb);
        event.type(escapeKey);
        CHECK_FALSE(event.rig.model.current.player.playing);
        CHECK(event.rig.get(ids::outputLevelDb) == EventDesk::silentDb);
        CHECK(event.stage() == EventStage::listening);
    }
    // The keyboard gets to everything that can be pressed.
    for (juce::Component* const control : seenControls(event.screen()))
        if (control->isEnabled() && dynamic_cast<gui::RoadControl*>(control) == nullptr) {
            INFO(control->getTitle());
            CHECK(reached.count(control->getTitle()) == 1);
        }
}

TEST_CASE("No key and no press at an event changes a tuning, a seat, a ride or the job",
          "[plugin][event][editor]")
{
    WholeEvent event;
    const auto jobFile = plugin::toPath(event.jobs.rig.desk->openFolder()) / "job.json";
    const Choices before = heldChoices(event.jobs.rig.processor);
    REQUIRE(before.size() >= 10);
    const std::string jobBefore = contentsOf(jobFile);
    REQUIRE_FALSE(jobBefore.empty());
    const auto candidatesBefore = event.jobs.rig.processor.snapshot().job->candidates.size();
    const auto checkHeld = [&] {
        event.update();
        CHECK(heldChoices(event.jobs.rig.processor) == before);
        CHECK(event.jobs.events.eventView().stage == EventStage::listening);
        CHECK(event.jobs.editor->isInEvent());
        CHECK(event.jobs.editor->currentPlace() == gui::Place::listen);
    };
    const auto visible = [&] {
        int count = 0;
        for (juce::Component* const child : event.jobs.editor->getChildren())
            count += child->isVisible() && dynamic_cast<EventScreen*>(child) == nullptr
                     && dynamic_cast<juce::TooltipWindow*>(child) == nullptr;
        return count;
    };
    for (const juce::KeyPress& key : allKeys()) {
        INFO(key.getTextDescription());
        event.window->type(key);
        checkHeld();
        CHECK(visible() == 0);
    }
    // From wherever the keyboard may be led.
    for (int step = 0; step < 20; ++step) {
        event.window->type(tabKey);
        for (const char character : {'b', 's', 'r', 't', 'e', 'u', 'z'}) {
            event.window->type(character);
            event.window->type(juce::KeyPress(character, juce::ModifierKeys::commandModifier, 0));
        }
        for (int place = '1'; place <= '5'; ++place)
            event.window->type(juce::KeyPress(place, juce::ModifierKeys::commandModifier, 0));
        event.window->type(returnKey);
        checkHeld();
    }
    for (int y = 8; y < event.window->getHeight(); y += 24)
        for (int x = 8; x < event.window->getWidth(); x += 32) {
            event.window->clickAt({x, y});
            event.window->scrollAt({x, y}, 0.5F);
            if ((x / 32) % 8 == 0)
                checkHeld();
        }
    checkHeld();
    CHECK(visible() == 0);
    CHECK_FALSE(event.jobs.rig.tuning->tuningSnapshot().hasUnsaved);
    CHECK(event.jobs.rig.processor.snapshot().job->candidates.size() == candidatesBefore);
    CHECK(contentsOf(jobFile) == jobBefore);
    CHECK_FALSE(event.jobs.editor->isInterestedInFileDrag(
        {event.jobs.rig.desk->openFolder().getFullPathName()}));
    CHECK(event.jobs.bench.place == gui::Place::listen);
    CHECK_FALSE(event.jobs.bench.current.output.playing);
}

TEST_CASE("The level guard shows dB(A) with calibrated headphones, and says where it cannot",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    event.window.clickAt({640, 400});
    event.editor.refresh();
    const auto& guard = dynamic_cast<gui::EventGuard&>(event.titled("Level guard"));
    CHECK(guard.headline() == "At your ear: uncalibrated");
    CHECK_FALSE(guard.headline().contains("dB(A)"));
    CHECK(guard.getDescription().contains("dBFS"));
    event.rig.model.current.headphoneSplDb = 105.0;
    event.rig.model.current.earLevelDba = 71.4;
    event.rig.model.current.ceilingDba = 80.0;
    event.editor.refresh();
    CHECK(guard.headline().startsWith(gui::earLevelText(71.4)));
    CHECK(guard.headline().contains("dB(A)"));
    CHECK(guard.getDescription().contains("80 dB(A)"));
    CHECK_FALSE(guard.getDescription().contains("uncalibrated"));
    event.rig.model.current.earLevelDba = 78.2;
    event.editor.refresh();
    CHECK(guard.headline().startsWith(gui::earLevelText(78.2)));
}

TEST_CASE("After two idle minutes the screen counts down and is as at the start",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    event.listenToTwo();
    event.click("I like 2 best");
    event.type(juce::KeyPress(juce::KeyPress::upKey));
    event.pass(89.0);
    CHECK(test::findTitled(event.editor, "Still there?") == nullptr);
    event.pass(6.0);
    juce::Component& banner = event.titled("Still there?");
    CHECK(banner.getDescription().contains("Back to the start in 25 s"));
    // What is pressed to go on presses nothing else.
    const double candidate = event.rig.get(ids::candidate);
    event.window.clickAt(event.window.middleOf(banner));
    event.editor.refresh();
    CHECK(test::findTitled(event.editor, "Still there?") == nullptr);
    CHECK(event.rig.get(ids::candidate) == candidate);
    event.pass(119.0);
    CHECK(event.stage() == EventStage::listening);
    event.pass(1.5);
    CHECK(event.stage() == EventStage::waiting);
    CHECK(test::findTitled(event.editor, "Still there?") == nullptr);
    CHECK(test::findTitled(event.editor, "Put the headphones on, then touch the screen")
          != nullptr);
    CHECK_FALSE(event.rig.model.current.player.playing);
    CHECK(event.rig.get(ids::outputLevelDb) == EventDesk::silentDb);
    CHECK(event.rig.get(ids::candidate) == 1.0);
    CHECK(event.rig.get(ids::speedKmh) == 0.0);
    // Nobody inherits what the one before said.
    event.window.clickAt({640, 400});
    event.editor.refresh();
    const auto& like = dynamic_cast<juce::TextButton&>(event.titled("I like 2 best"));
    CHECK_FALSE(like.getToggleState());
    CHECK_FALSE(like.isEnabled());
}

TEST_CASE("People and what they like are counted from the screen, and told at the end",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    event.window.clickAt({640, 400});
    event.editor.refresh();
    CHECK_FALSE(event.titled("I like 1 best").isEnabled()); // nothing is heard yet
    event.pass(8.0);
    CHECK_FALSE(event.titled("I like 1 best").isEnabled());
    event.type('2');
    event.pass(8.0);
    event.click("I like 1 best");
    event.click("I like 2 best"); // thinks again
    CHECK(dynamic_cast<juce::TextButton&>(event.titled("I like 2 best")).getButtonText()
          == "2 is liked best");
    CHECK_FALSE(dynamic_cast<juce::TextButton&>(event.titled("I like 1 best")).getToggleState());
    CHECK_FALSE(event.titled("I like 3 best").isEnabled());
    event.pass(121.0);
    REQUIRE(event.stage() == EventStage::waiting);
    event.listenToTwo(); // and says nothing
    event.pass(121.0);
    event.window.clickAt({640, 400}); // goes at once
    event.pass(3.0);
    const auto stored = event.rig.stored();
    REQUIRE(stored.size() == 1);
    CHECK(stored[0].numListeners == 2);
    CHECK(stored[0].numAnswers() == 1);
    CHECK(stored[0].candidates[1].timesPreferred == 1);
    event.leaveKeyIsDown = true;
    event.pass(4.5);
    REQUIRE(event.stage() == EventStage::over);
    const juce::Component& page = event.titled("The event is over: 2 listeners");
    CHECK(page.getDescription().contains("Liked best: "));
    CHECK(page.getDescription().contains("kept in the job"));
}

TEST_CASE("An event is left by holding its button or Ctrl and L for four seconds, and only so",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open();
    event.listenToTwo();
    juce::Component& leave = event.titled("Leave");
    event.window.click(leave);
    event.pass(5.0);
    CHECK(event.stage() == EventStage::listening);
    for (int press = 0; press < 8; ++press) { // many short ones are not a long one
        event.window.pressAt(event.window.middleOf(leave));
        event.pass(3.5);
        event.window.letGo();
        event.pass(0.2);
    }
    CHECK(event.stage() == EventStage::listening);
    event.window.pressAt(event.window.middleOf(leave)); // and slides off
    event.pass(2.0);
    event.window.moveTo({100, 500});
    event.pass(6.0);
    event.window.letGo();
    CHECK(event.stage() == EventStage::listening);
    event.window.pressAt(event.window.middleOf(leave));
    event.pass(3.8);
    CHECK(event.stage() == EventStage::listening);
    event.pass(0.4);
    CHECK(event.stage() == EventStage::over);
    event.window.letGo();

    EventWindow another;
    another.open();
    another.leaveKeyIsDown = true;
    another.pass(3.8);
    CHECK(another.stage() == EventStage::waiting);
    another.leaveKeyIsDown = false;
    another.pass(0.2);
    another.leaveKeyIsDown = true;
    another.pass(3.8);
    CHECK(another.stage() == EventStage::waiting);
    another.pass(0.5);
    CHECK(another.stage() == EventStage::over);
    CHECK(another.editor.isInEvent());
    another.leaveKeyIsDown = false;
    another.click("Back to the program");
    CHECK_FALSE(another.editor.isInEvent());
    CHECK(another.stage() == EventStage::off);
    // All of the program is there again, with the keyboard.
    CHECK(test::findTitled(another.editor, "Event") != nullptr);
    CHECK(another.window.type('2'));
    CHECK(another.rig.get(ids::candidate) == 2.0);
}

TEST_CASE("The loudest level chosen before an event is the loudest there is in it",
          "[plugin][event][editor]")
{
    EventWindow event;
    event.open(false);
    auto& slider = dynamic_cast<juce::Slider&>(event.titled("Loudest"));
    CHECK(slider.getValue() == -12.0);
    slider.setValue(-30.0);
    event.click("Start the event");
    event.window.clickAt({640, 400});
    event.editor.refresh();
    for (int press = 0; press < 20; ++press)
        event.type('+');
    event.pass(12.0);
    CHECK(event.rig.get(ids::outputLevelDb) == Approx(-30.0).margin(0.1));
    CHECK_FALSE(event.titled("Louder").isEnabled());
}

TEST_CASE("An event that is only looked at is left by Escape", "[plugin][event][editor]")
{
    EventWindow event;
    event.open(false);
    CHECK(test::findTitled(event.editor, "Leave") == nullptr);
    event.type(escapeKey);
    CHECK_FALSE(event.editor.isInEvent());
    event.rig.model.current.player.loaded = false;
    event.open(false);
    CHECK(test::findTitled(event.editor, "Start the event") == nullptr);
    CHECK(event.titled("Event mode").getDescription().contains("no music"));
    event.type(returnKey);
    CHECK_FALSE(event.editor.isInEvent());
}
