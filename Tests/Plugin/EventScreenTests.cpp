#include "Gui/EventScreen.h"

#include "Gui/AuditionEditor.h"
#include "Support/EventRig.h"
#include "Support/WindowHand.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using gui::EventStage;
using test::characterKey;
using test::EventRig;
namespace ids = gui::parameterIds;

namespace {

const juce::KeyPress escapeKey(juce::KeyPress::escapeKey);
const juce::KeyPress returnKey(juce::KeyPress::returnKey);
const juce::KeyPress spaceKey(juce::KeyPress::spaceKey);

bool isSeen(const juce::Component& component, const juce::Component& window)
{
    for (const juce::Component* each = &component; each != &window;
         each = each->getParentComponent())
        if (!each->isVisible())
            return false;
    return true;
}

/** The program's window with an event, on the desktop. */
struct EventWindow {
    EventRig rig;
    test::RecordingBench bench;
    gui::AuditionEditor editor {rig.model, &bench, nullptr, nullptr, &rig.desk};
    test::WindowHand hand {editor};
    bool isFull = false;
    bool leaveKeyIsDown = false;

    explicit EventWindow(std::size_t numCandidates = 3) : rig(numCandidates)
    {
        editor.onFullScreen = [this](bool full) { isFull = full; };
        editor.refresh();
    }

    gui::EventScreen* screen()
    {
        for (juce::Component* const child : editor.getChildren())
            if (auto* const found = dynamic_cast<gui::EventScreen*>(child))
                return found;
        return nullptr;
    }

    void open()
    {
        hand.type(characterKey('e'));
        REQUIRE(screen() != nullptr);
        screen()->isLeaveKeyDown = [this] { return leaveKeyIsDown; };
    }
    /** An event that has begun; nobody has touched anything yet. */
    void begin()
    {
        open();
        hand.type(returnKey);
        REQUIRE(stage() == EventStage::waiting);
    }
    void pass(double seconds)
    {
        const double end = rig.seconds + seconds;
        while (rig.seconds + 0.02 < end) {
            rig.pass(1.0 / 30.0);
            editor.refresh();
        }
    }
    EventStage stage() { return rig.desk.eventView().stage; }

    std::vector<juce::Component*> controls()
    {
        std::vector<juce::Component*> all;
        test::collectControls(editor, all);
        std::vector<juce::Component*> seen;
        for (juce::Component* const control : all)
            if (isSeen(*control, editor))
                seen.push_back(control);
        return seen;
    }
    juce::Component& control(const juce::String& title)
    {
        for (juce::Component* const each : controls())
            if (each->getTitle() == title)
                return *each;
        FAIL(title << " is not there");
        throw std::logic_error("unreachable");
    }
    void click(const juce::String& title)
    {
        hand.click(control(title));
        editor.refresh();
    }
};

} // namespace

TEST_CASE("An event is opened, begun, left and closed by keyboard alone", "[plugin][event][editor]")
{
    EventWindow window;
    CHECK_FALSE(window.editor.isInEvent());
    window.open();
    CHECK(window.editor.isInEvent());
    CHECK(window.isFull);
    CHECK(window.stage() == EventStage::off);
    window.hand.type(escapeKey); // no event after all
    window.editor.refresh();
    CHECK_FALSE(window.editor.isInEvent());
    CHECK_FALSE(window.isFull);

    window.begin();
    window.hand.type(characterKey('x')); // any key
    CHECK(window.stage() == EventStage::listening);
    CHECK(window.rig.model.current.player.playing);
    window.leaveKeyIsDown = true;
    window.pass(3.5);
    CHECK(window.stage() == EventStage::listening);
    window.leaveKeyIsDown = false;
    window.pass(0.1); // let go: the time counts anew
    window.leaveKeyIsDown = true;
    window.pass(3.5);
    CHECK(window.stage() == EventStage::listening);
    window.pass(1.0);
    CHECK(window.stage() == EventStage::over);
    window.hand.type(returnKey);
    window.editor.refresh();
    CHECK_FALSE(window.editor.isInEvent());
    CHECK_FALSE(window.isFull);
    CHECK(window.control("Candidate 1: Candidate with a rather long name 1").isEnabled());
}

TEST_CASE("While an event runs nothing but its own controls is in reach", "[plugin][event][editor]")
{
    EventWindow window;
    CHECK(window.controls().size() > 15);
    window.begin();
    const auto checkReach = [&](const juce::StringArray& expected) {
        juce::StringArray titles;
        for (juce::Component* const control : window.controls()) {
            CHECK(window.screen()->isParentOf(control));
            titles.add(control->getTitle());
        }
        for (const juce::String& title : expected)
            CHECK(titles.contains(title));
        CHECK(titles.size() == expected.size());
    };
    checkReach({"Leave"});
    window.hand.type(spaceKey);
    window.editor.refresh();
    checkReach({"Leave", "Candidate 1: Candidate with a rather long name 1",
                "Candidate 2: Candidate with a rather long name 2",
                "Candidate 3: Candidate with a rather long name 3", "I like 1 best",
                "I like 2 best", "I like 3 best", "Play or pause", "Quiet", "Softer", "Louder",
                "Speed"});
    CHECK_FALSE(window.editor.isInterestedInFileDrag({"/somewhere"}));
    window.editor.goTo(gui::Place::bike);
    CHECK(window.editor.currentPlace() == gui::Place::listen);
    window.editor.openJob(juce::File("/somewhere"));
    CHECK(window.rig.model.openedJob == juce::File());
}

TEST_CASE("A first touch anywhere begins, and the leave button is no such touch",
          "[plugin][event][editor]")
{
    EventWindow window;
    window.begin();
    window.hand.press(window.control("Leave"));
    window.pass(1.0);
    window.hand.release(window.control("Leave"));
    window.editor.refresh();
    CHECK(window.stage() == EventStage::waiting);
    window.hand.click(*window.screen());
    CHECK(window.stage() == EventStage::listening);
    window.editor.refresh();
    window.click("Candidate 2: Candidate with a rather long name 2");
    CHECK(window.rig.get(ids::candidate) == 2.0);
    window.click("Play or pause");
    CHECK_FALSE(window.rig.model.current.player.playing);
    window.click("Play or pause");
    CHECK(window.rig.model.current.player.playing);
    window.click("Quiet");
    CHECK_FALSE(window.rig.model.current.player.playing);
    CHECK(window.rig.get(ids::outputLevelDb) == -60.0);
    window.click("Speed");
    CHECK(window.rig.get(ids::speedKmh) == Approx(dsp::mphToKmh(45.0)).margin(1.0));
    // The leave button, held long enough.
    window.hand.press(window.control("Leave"));
    window.pass(3.5);
    CHECK(window.stage() == EventStage::listening);
    window.pass(1.0);
    CHECK(window.stage() == EventStage::over);
    window.hand.release(window.editor);
}

TEST_CASE("Keys of an event play, and the others do nothing", "[plugin][event][editor]")
{
    EventWindow window;
    window.begin();
    window.hand.type(spaceKey); // begins
    window.editor.refresh();
    CHECK(window.rig.model.current.player.playing);
    window.hand.type(characterKey('3'));
    CHECK(window.rig.get(ids::candidate) == 3.0);
    window.hand.type(characterKey('8')); // there is none
    CHECK(window.rig.get(ids::candidate) == 3.0);
    window.hand.type(juce::KeyPress(juce::KeyPress::upKey));
    CHECK(window.rig.get(ids::speedKmh) == Approx(dsp::mphToKmh(5.0)).margin(1e-3));
    const double volumeDb = window.rig.desk.eventView().volumeDb;
    window.hand.type(characterKey('+'));
    CHECK(window.rig.desk.eventView().volumeDb == volumeDb + 3.0);
    window.hand.type(characterKey('-'));
    window.hand.type(characterKey('-'));
    CHECK(window.rig.desk.eventView().volumeDb == volumeDb - 3.0);
    window.hand.type(spaceKey);
    window.editor.refresh();
    CHECK_FALSE(window.rig.model.current.player.playing);
    window.hand.type(spaceKey);
    window.editor.refresh();
    CHECK(window.rig.model.current.player.playing);

    const auto everything = [&] { return window.rig.model.parameters().copyState(); };
    const juce::ValueTree before = everything();
    for (const char character : std::string("bBtTrRqQnNeEdDfF09"))
        window.hand.type(characterKey(character));
    for (const int code : {juce::KeyPress::F1Key, juce::KeyPress::F11Key, juce::KeyPress::deleteKey,
                           juce::KeyPress::homeKey, juce::KeyPress::returnKey})
        window.hand.type(juce::KeyPress(code));
    for (int place = '1'; place <= '5'; ++place)
        window.hand.type(juce::KeyPress(place, juce::ModifierKeys::commandModifier, 0));
    for (const char letter : std::string("qwol"))
        window.hand.type(juce::KeyPress(letter, juce::ModifierKeys::commandModifier, 0));
    CHECK(everything().isEquivalentTo(before));
    CHECK(window.stage() == EventStage::listening);
    CHECK(window.editor.currentPlace() == gui::Place::listen);

    for (int press = 0; press < 5; ++press) {
        window.hand.type(escapeKey); // quiet, however often, and never more
        CHECK(window.stage() == EventStage::listening);
    }
    CHECK(window.rig.get(ids::outputLevelDb) == -60.0);
    CHECK_FALSE(window.rig.model.current.player.playing);
    CHECK(window.editor.isInEvent());
}

TEST_CASE("Escape while nobody is there stays quiet", "[plugin][event][editor]")
{
    EventWindow window;
    window.begin();
    window.hand.type(escapeKey);
    CHECK(window.stage() == EventStage::waiting);
    CHECK_FALSE(window.rig.model.current.player.playing);
}

TEST_CASE("What is liked best can be said once it has been heard", "[plugin][event][editor]")
{
    EventWindow window;
    window.begin();
    window.hand.type(spaceKey);
    window.editor.refresh();
    CHECK_FALSE(window.control("I like 1 best").isEnabled());
    window.pass(9.0);
    window.hand.type(characterKey('2'));
    window.pass(3.0);
    CHECK(window.control("I like 1 best").isEnabled());
    CHECK(window.control("I like 2 best").isEnabled());
    CHECK_FALSE(window.control("I like 3 best").isEnabled());
    window.click("I like 2 best");
    CHECK(window.rig.desk.eventView().preferred == std::size_t {1});
    CHECK(window.rig.stored()[0].candidates[1].timesPreferred == 1);
    window.click("I like 2 best");
    CHECK_FALSE(window.rig.desk.eventView().preferred);
}

TEST_CASE("The countdown is seen, and a touch on it presses nothing else",
          "[plugin][event][editor]")
{
    EventWindow window;
    window.begin();
    window.hand.type(spaceKey);
    window.pass(96.0);
    juce::Component* banner = nullptr;
    for (juce::Component* const child : window.screen()->getChildren())
        if (child->getTitle() == "Still there?")
            banner = child;
    REQUIRE(banner != nullptr);
    CHECK(banner->isVisible());
    CHECK(banner->getDescription().contains("in 24 s"));
    const juce::ValueTree before = window.rig.model.parameters().copyState();
    window.hand.click(*banner);
    window.editor.refresh();
    CHECK_FALSE(banner->isVisible());
    CHECK(window.rig.model.parameters().copyState().isEquivalentTo(before));
    CHECK(window.stage() == EventStage::listening);
}

TEST_CASE("What a listener touches is large, apart, and has a name at every size",
          "[plugin][event][editor]")
{
    for (const std::size_t numCandidates : {std::size_t {1}, std::size_t {2}, std::size_t {8}}) {
        EventWindow window(numCandidates);
        window.begin();
        window.hand.type(spaceKey);
        for (const auto& [width, height] : {std::pair {1024, 700}, std::pair {1280, 720},
                                            std::pair {1920, 1080}, std::pair {3840, 2160}}) {
            window.editor.setSize(width, height);
            window.editor.refresh();
            const auto controls = window.controls();
            CHECK(controls.size() == (numCandidates == 1 ? 7 : 6 + 2 * numCandidates));
            for (std::size_t first = 0; first < controls.size(); ++first) {
                const auto area =
                    window.editor.getLocalArea(controls[first], controls[first]->getLocalBounds());
                INFO(width << "x" << height << " " << controls[first]->getTitle());
                CHECK(window.editor.getLocalBounds().contains(area));
                CHECK(area.getWidth() >= gui::EventScreen::touchSize);
                CHECK(area.getHeight() >= gui::EventScreen::touchSize);
                CHECK(controls[first]->getTitle().isNotEmpty());
                CHECK(controls[first]->getDescription().isNotEmpty());
                for (std::size_t second = first + 1; second < controls.size(); ++second) {
                    INFO(controls[second]->getTitle());
                    CHECK_FALSE(area.intersects(window.editor.getLocalArea(
                        controls[second], controls[second]->getLocalBounds())));
                }
            }
        }
    }
}

TEST_CASE("The guard tells the level at the ear only where it is known", "[plugin][event]")
{
    test::RecordingModel model;
    model.openMadeUpJob(1);
    gui::EventGuard guard;
    hearing::SessionExposure exposure;
    model.current.earLevelDba = 74.4;
    guard.show(model.current, exposure);
    CHECK(guard.headline().contains("uncalibrated"));
    CHECK(guard.details().contains("-6.0 dBFS"));
    CHECK_FALSE((guard.headline() + guard.details()).contains("74"));
    model.current.headphoneSplDb = 110.0;
    model.current.ceilingDba = 80.0;
    exposure.add(85.0, 288.0); // a hundredth of 8 h
    guard.show(model.current, exposure);
    CHECK(guard.headline() == "74 dB(A) at your ear now");
    CHECK(guard.details().contains("Kept at 80 dB(A) at most"));
    CHECK(guard.details().contains("85 dB(A) on average over 4:48, 1.0 % of a day by NIOSH"));
}
