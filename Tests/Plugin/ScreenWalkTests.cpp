// Everything that the window can show, looked at as somebody does who cannot see it well, cannot see
// it at all, or has no mouse.
#include "Gui/JobMenu.h"
#include "Gui/Look.h"
#include "Gui/RoadControl.h"
#include "Plugin/AudioSettings.h"
#include "Plugin/Paths.h"
#include "Support/BenchRig.h"
#include "Support/DrawnText.h"
#include "Support/MessageLoop.h"
#include "Support/Scenes.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <optional>
#include <vector>

using namespace saddletone;
using test::DrawnText;
using test::Scene;
using test::Stage;

namespace {

constexpr double leastContrast = 4.5; // WCAG 2.1, 1.4.3

/** The innermost visible component at a place of the window. */
juce::Component& deepestAt(juce::Component& component, juce::Point<float> place)
{
    const auto& children = component.getChildren();
    for (int index = children.size(); --index >= 0;) {
        juce::Component* const child = children[index];
        const auto inside = child->getLocalPoint(&component, place);
        if (child->isVisible() && dynamic_cast<juce::TooltipWindow*>(child) == nullptr
            && child->getLocalBounds().toFloat().contains(inside))
            return deepestAt(*child, inside);
    }
    return component;
}

bool isInViewport(const juce::Component& component)
{
    return component.findParentComponentOfClass<juce::Viewport>() != nullptr;
}

/** What somebody acts on: all controls, and whatever else takes the keyboard. */
void collectInteractive(juce::Component& component, std::vector<juce::Component*>& found)
{
    for (juce::Component* const child : component.getChildren()) {
        if (!child->isVisible())
            continue;
        const bool isControl = dynamic_cast<juce::Slider*>(child) != nullptr
                               || dynamic_cast<juce::ComboBox*>(child) != nullptr
                               || dynamic_cast<juce::Button*>(child) != nullptr
                               || dynamic_cast<juce::TextEditor*>(child) != nullptr
                               || dynamic_cast<gui::RoadControl*>(child) != nullptr
                               || child->getWantsKeyboardFocus();
        if (isControl)
            found.push_back(child);
        // The parts inside these are spoken for by them.
        if (dynamic_cast<juce::Slider*>(child) == nullptr
            && dynamic_cast<juce::ComboBox*>(child) == nullptr
            && dynamic_cast<juce::TextEditor*>(child) == nullptr)
            collectInteractive(*child, found);
    }
}

juce::String describe(const juce::Component& component)
{
    const juce::Component* const parent = component.getParentComponent();
    return "\"" + component.getTitle() + "\" in \""
           + (parent != nullptr ? parent->getTitle() : juce::String()) + "\" "
           + component.getBounds().toString();
}

/** The part of it that is to be seen, in the window. */
juce::Rectangle<int> seenArea(juce::Component& window, juce::Component& component)
{
    auto area = window.getLocalArea(&component, component.getLocalBounds());
    for (juce::Component* each = component.getParentComponent(); each != &window;
         each = each->getParentComponent())
        area = area.getIntersection(window.getLocalArea(each, each->getLocalBounds()));
    return area;
}

/** Whether a screen reader calls it by what can be read on it, which is a name then: a button by its
    words, a box that is typed into by what is in it. JUCE's own dialogs know no other. */
bool isNamedByItsText(juce::Component& control, const juce::String& name)
{
    if (auto* const button = dynamic_cast<juce::TextButton*>(&control))
        return name.isNotEmpty() && name == button->getButtonText();
    auto* const box = dynamic_cast<juce::ComboBox*>(&control);
    return box != nullptr && box->isTextEditable() && name.isNotEmpty() && name == box->getText();
}

void findUnnamed(const std::vector<juce::Component*>& controls, juce::StringArray& findings)
{
    for (juce::Component* const control : controls) {
        const juce::AccessibilityHandler* const handler = control->getAccessibilityHandler();
        if (handler == nullptr || handler->isIgnored())
            findings.add("not there for a screen reader: " + describe(*control));
        else if ((control->getTitle().trim().isEmpty()
                  || !handler->getTitle().contains(control->getTitle()))
                 && !isNamedByItsText(*control, handler->getTitle()))
            findings.add("no name for a screen reader: " + describe(*control));
    }
}

/** Whether a press in its middle reaches it. */
bool isInSight(juce::Component& window, juce::Component& control)
{
    const auto area = seenArea(window, control);
    juce::Component* const hit = area.isEmpty() ? nullptr : window.getComponentAt(area.getCentre());
    return hit != nullptr
           && (hit == &control || control.isParentOf(hit) || hit->isParentOf(&control));
}

/** What has the keyboard for itself: the window, or a note that lies over part of it. */
juce::Component* focusContainer()
{
    juce::Component* const focused = juce::Component::getCurrentlyFocusedComponent();
    if (focused == nullptr || focused->isKeyboardFocusContainer())
        return focused;
    return focused->findKeyboardFocusContainer();
}

/** A note may cover what waits for its answer, and part of it. */
bool isBehindNote(const juce::Component& one, const juce::Component& other)
{
    const juce::Component* const note = focusContainer();
    const auto isInNote = [&](const juce::Component& each) {
        return note != nullptr && (&each == note || note->isParentOf(&each));
    };
    return isInNote(one) != isInNote(other);
}

void findOverlaps(juce::Component& window, const std::vector<juce::Component*>& controls,
                  juce::StringArray& findings)
{
    for (std::size_t first = 0; first < controls.size(); ++first)
        for (std::size_t second = first + 1; second < controls.size(); ++second) {
            juce::Component& one = *controls[first];
            juce::Component& other = *controls[second];
            if (one.isParentOf(&other) || other.isParentOf(&one) || !isInSight(window, one)
                || !isInSight(window, other) || isBehindNote(one, other))
                continue;
            const auto area = seenArea(window, one);
            const auto otherArea = seenArea(window, other);
            // A small one may lie wholly on a large one, as that for the curve does on its plate.
            if (area.intersects(otherArea) && !area.contains(otherArea)
                && !otherArea.contains(area))
                findings.add(describe(one) + " and " + describe(other) + " overlap");
        }
}

/** All visible components lie in their parents, but for what a viewport scrolls. */
void findOutside(juce::Component& component, juce::StringArray& findings)
{
    for (juce::Component* const child : component.getChildren()) {
        if (!child->isVisible() || child->getBounds().isEmpty())
            continue;
        if (!isInViewport(*child)
            && !component.getLocalBounds().contains(
                component.getLocalArea(child, child->getLocalBounds())))
            findings.add("outside of its parent: " + describe(*child));
        findOutside(*child, findings);
    }
}

/** The keyboard gets to all that can be pressed, and to nothing else. */
void findOutOfReach(juce::Component& window, const std::vector<juce::Component*>& controls,
                    juce::StringArray& findings)
{
    juce::Component* const container = focusContainer();
    if (container == nullptr) {
        findings.add("nothing has the keyboard");
        return;
    }
    const auto reached = juce::KeyboardFocusTraverser().getAllComponents(container);
    for (juce::Component* const each : reached)
        if (!isInViewport(*each) && !isInSight(window, *each))
            findings.add("the keyboard gets behind something: " + describe(*each));
    for (juce::Component* const control : controls) {
        if (!container->isParentOf(control) || !control->isEnabled()
            || !isInSight(window, *control))
            continue;
        if (std::none_of(reached.begin(), reached.end(), [&](juce::Component* each) {
                return each == control || control->isParentOf(each);
            }))
            findings.add("the keyboard does not get to " + describe(*control));
    }
}

/** Whether a viewport lies there, which may cut a line while it scrolls. */
bool meetsViewport(juce::Component& window, juce::Component& component, juce::Rectangle<int> area)
{
    for (juce::Component* const child : component.getChildren())
        if (child->isVisible()
            && ((dynamic_cast<juce::Viewport*>(child) != nullptr
                 && seenArea(window, *child).intersects(area))
                || meetsViewport(window, *child, area)))
            return true;
    return false;
}

/** Whether the one that was drawn first is partly behind a note that the other may be in. */
bool isCoveredByNote(juce::Component& window, const DrawnText& first, const DrawnText& second)
{
    juce::Component* const note = focusContainer();
    if (note == nullptr)
        return false;
    const auto area = window.getLocalArea(note, note->getLocalBounds()).toFloat();
    return area.contains(second.area) && !area.contains(first.area);
}

void findBadText(juce::Component& window, float scale, juce::StringArray& findings)
{
    std::vector<DrawnText> texts = test::drawnText(window, scale);
    std::erase_if(texts, [](const DrawnText& text) { return text.isCovered; });
    for (const DrawnText& text : texts) {
        juce::Component& at = deepestAt(window, text.area.getCentre());
        const juce::String where = "\"" + text.words + "\" at "
                                   + text.area.toNearestInt().toString() + " in " + describe(at);
        if (text.isCut
            && !meetsViewport(window, window, text.area.expanded(0.0F, 24.0F).toNearestInt()))
            findings.add("cut: " + where);
        if (text.isShortened())
            findings.add("shortened: " + where);
        if (text.isSqueezed)
            findings.add("squeezed: " + where);
        if (text.hasMissingSign)
            findings.add("a sign is missing: " + where);
        if (text.emPixels < gui::smallestTextPixels - 0.01F)
            findings.add("small, " + juce::String(text.emPixels, 1) + " px: " + where);
        if (text.contrast < leastContrast && at.isEnabled())
            findings.add("contrast " + juce::String(text.contrast, 2) + ": " + where);
    }
    for (std::size_t first = 0; first < texts.size(); ++first)
        for (std::size_t second = first + 1; second < texts.size(); ++second) {
            const auto common = texts[first].area.getIntersection(texts[second].area);
            if (common.getWidth() > 1.0F && common.getHeight() > 1.0F
                && !isCoveredByNote(window, texts[first], texts[second]))
                findings.add("one over the other: \"" + texts[first].words + "\" and \""
                             + texts[second].words + "\" at "
                             + texts[first].area.toNearestInt().toString());
        }
}

/** What is shown in a window; scale: physical pixels for a logical one. */
juce::StringArray lookAt(juce::Component& window, juce::Component& content, float scale)
{
    juce::StringArray findings;
    std::vector<juce::Component*> controls;
    collectInteractive(content, controls);
    findUnnamed(controls, findings);
    findOverlaps(window, controls, findings);
    findOutside(window, findings);
    findOutOfReach(window, controls, findings);
    findBadText(window, scale, findings);
    findings.removeDuplicates(false);
    return findings;
}

/** The menu in a component that is not one of those known; null if there is none. */
juce::Component* openMenu(juce::Component& host, const std::vector<juce::Component*>& known)
{
    for (juce::Component* const each : host.getChildren())
        if (each->getName() == "menu" && std::ranges::find(known, each) == known.end())
            return each;
    return nullptr;
}

/** Items of a menu that can be chosen, as a screen reader has them. */
std::vector<juce::AccessibilityHandler*> itemsOf(juce::Component& menu)
{
    std::vector<juce::AccessibilityHandler*> items;
    for (juce::Component* const child : menu.getChildren())
        if (juce::AccessibilityHandler* const handler = child->getAccessibilityHandler();
            handler != nullptr && handler->getRole() == juce::AccessibilityRole::menuItem)
            items.push_back(handler);
    return items;
}

/** Looks at a menu and all below it; returns how many items can be chosen in all. */
std::size_t lookAtMenu(juce::Component& menu, std::vector<juce::Component*> known, float scale)
{
    known.push_back(&menu);
    juce::StringArray findings;
    findBadText(menu, scale, findings);
    const auto items = itemsOf(menu);
    std::size_t numItems = items.size();
    for (juce::AccessibilityHandler* const item : items) {
        if (item->getTitle().trim().isEmpty())
            findings.add("no name for a screen reader: " + describe(item->getComponent()));
        if (!item->getCurrentState().isExpandable())
            continue;
        REQUIRE(item->getActions().invoke(juce::AccessibilityActionType::showMenu));
        juce::Component* const below = openMenu(*menu.getParentComponent(), known);
        INFO("below \"" << item->getTitle() << "\"");
        REQUIRE(below != nullptr);
        numItems += lookAtMenu(*below, known, scale);
    }
    INFO(findings.joinIntoString("\n"));
    CHECK(findings.isEmpty());
    return numItems;
}

/** Something in a window of its own, in the program's look. */
class Dialog {
public:
    Dialog(juce::Component& content, bool isLight) : look(isLight), window(content)
    {
        window.setLookAndFeel(&look);
    }
    ~Dialog() { window.setLookAndFeel(nullptr); }
    Dialog(const Dialog&) = delete;
    Dialog& operator=(const Dialog&) = delete;

private:
    gui::Look look;

public:
    test::OffscreenWindow window;
};

/** A component that draws as it is told, on black. */
class Sign final : public juce::Component {
public:
    explicit Sign(std::function<void(juce::Graphics&)> drawing) : draw(std::move(drawing))
    {
        setSize(220, 40);
    }
    void paint(juce::Graphics& g) override
    {
        g.fillAll(juce::Colours::black);
        g.setColour(juce::Colours::white);
        g.setFont(gui::textFont(16.0F));
        draw(g);
    }

private:
    std::function<void(juce::Graphics&)> draw;
};

DrawnText onlyText(std::function<void(juce::Graphics&)> drawing, float scale = 1.0F)
{
    Sign sign(std::move(drawing));
    const auto texts = test::drawnText(sign, scale);
    REQUIRE(texts.size() == 1);
    return texts.front();
}

/** The title in the heading as it is drawn, line by line, with what stands below it. */
juce::String drawnHeading(Stage& stage, const juce::Component& heading)
{
    std::vector<DrawnText> texts = test::drawnText(stage.window, 1.0F);
    std::erase_if(texts, [&](const DrawnText& text) {
        return &deepestAt(stage.window, text.area.getCentre()) != &heading
               || text.words.startsWith("INVENTED");
    });
    std::stable_sort(texts.begin(), texts.end(), [](const DrawnText& one, const DrawnText& other) {
        return one.area.getCentreY() + 4.0F < other.area.getCentreY();
    });
    juce::StringArray words;
    for (const DrawnText& text : texts)
        words.add(text.words);
    return words.joinIntoString(" ");
}

} // namespace

TEST_CASE("Text that is cut, shortened, squeezed, small, faint or covered is told from good text",
          "[plugin][walk]")
{
    const juce::Rectangle<int> wide(10, 8, 200, 24);
    const juce::Rectangle<int> narrow(10, 8, 70, 24);
    const juce::String words = "Plain words";
    const auto left = juce::Justification::centredLeft;
    for (const float scale : {1.0F, 2.0F}) {
        const DrawnText good =
            onlyText([&](juce::Graphics& g) { g.drawText(words, wide, left, true); }, scale);
        CHECK(good.words == words);
        CHECK(wide.toFloat().contains(good.area));
        CHECK(good.contrast > 20.0);
        CHECK(good.emPixels == Approx(16.0F).margin(0.01));
        CHECK_FALSE((good.isCut || good.isShortened() || good.isSqueezed || good.hasMissingSign
                     || good.isCovered));
    }
    CHECK(onlyText([&](juce::Graphics& g) { g.drawSingleLineText(words, 10, 6); }).isCut);
    CHECK(
        onlyText([&](juce::Graphics& g) { g.drawText(words, narrow, left, true); }).isShortened());
    CHECK(onlyText([&](juce::Graphics& g) {
              g.drawFittedText(words, narrow, left, 1, 0.5F);
          }).isSqueezed);
    CHECK(onlyText([&](juce::Graphics& g) {
              g.setFont(juce::Font(9.0F));
              g.drawText(words, wide, left, true);
          }).emPixels
          < gui::smallestTextPixels);
    CHECK(onlyText([&](juce::Graphics& g) {
              g.setColour(juce::Colour(0xff606060));
              g.drawText(words, wide, left, true);
          }).contrast
          < leastContrast);
    CHECK(onlyText([&](juce::Graphics& g) {
              g.drawText(words, wide, left, true);
              g.setColour(juce::Colours::grey);
              g.fillRect(wide);
          }).isCovered);
}

TEST_CASE("Everything the window shows can be named, reached and read", "[plugin][editor][walk]")
{
    for (const Scene& scene : test::allScenes()) {
        Stage stage(scene.needsJob);
        scene.set(stage);
        stage.jobs.settle();
        for (const bool light : {false, true})
            for (const auto& [width, height] : {std::pair {1280, 720}, std::pair {1024, 700}}) {
                stage.jobs.rig.processor.setUsesLightLook(light);
                stage.window.resizeTo(width, height);
                stage.editor().refresh();
                INFO(scene.name << ", " << width << "x" << height
                                << (light ? ", light" : ", dark"));
                // As drawn where everything is twice as large, too.
                const juce::StringArray findings =
                    lookAt(stage.window, stage.editor(), light ? 2.0F : 1.0F);
                INFO(findings.joinIntoString("\n"));
                CHECK(findings.isEmpty());
            }
    }
}

TEST_CASE("A long title of a job is to be read whole at the head of every place",
          "[plugin][editor][walk]")
{
    std::optional<Stage> stage;
    {
        const test::AsStandalone standalone; // whose heading has the most buttons
        stage.emplace(true);
    }
    gui::JobFields fields = stage->jobs.rig.desk->jobSnapshot().open->fields;
    struct Case {
        int width;
        int height;
        const char* title;
    };
    for (const Case& each : {Case {1280, 720, "Touring bike: is another radio profile enough?"},
                             Case {1920, 1080, "Touring bike: is another radio profile enough?"},
                             Case {1024, 700, "Tourer: is a profile enough?"}}) {
        fields.title = each.title;
        stage->jobs.rig.desk->setFields(fields);
        stage->window.resizeTo(each.width, each.height);
        for (const gui::Place place : gui::allPlaces) {
            stage->editor().goTo(place);
            stage->jobs.settle();
            CAPTURE(each.width, each.title, gui::placeName(place));
            juce::Component* const heading = test::findTitled(stage->editor(), fields.title);
            REQUIRE(heading != nullptr);
            CHECK(dynamic_cast<juce::TooltipClient&>(*heading).getTooltip()
                  == fields.title + "\n" + heading->getDescription());
            const juce::String drawn = drawnHeading(*stage, *heading);
            CAPTURE(drawn.toStdString());
            CHECK(drawn.removeCharacters(" ").contains(fields.title.removeCharacters(" ")));
        }
        stage->editor().goTo(gui::Place::listen);
        if (each.width < 1280)
            continue;
        const juce::StringArray findings = lookAt(stage->window, stage->editor(), 1.0F);
        INFO(findings.joinIntoString("\n"));
        CHECK(findings.isEmpty());
    }
}

TEST_CASE(
    "A title for which there is no room ends with a sign of that, and its tooltip has it whole",
    "[plugin][editor][walk]")
{
    Stage stage(true);
    gui::JobFields fields = stage.jobs.rig.desk->jobSnapshot().open->fields;
    fields.title = juce::String::repeatedString("One more word of a title ", 6).trim();
    stage.jobs.rig.desk->setFields(fields);
    stage.jobs.settle();
    stage.window.resizeTo(1024, 700);
    juce::Component* const heading = test::findTitled(stage.editor(), fields.title);
    REQUIRE(heading != nullptr);
    CHECK(dynamic_cast<juce::TooltipClient&>(*heading).getTooltip().startsWith(fields.title));
    const juce::String drawn = drawnHeading(stage, *heading);
    CAPTURE(drawn.toStdString());
    CHECK(drawn.startsWith("One more word"));
    CHECK(drawn.contains(juce::String::fromUTF8("\xe2\x80\xa6")));
}

TEST_CASE("The job's menu and all menus below it can be named and read", "[plugin][editor][walk]")
{
    for (const bool hasJob : {false, true})
        for (const bool light : {false, true}) {
            INFO((hasJob ? "with a job" : "without a job") << (light ? ", light" : ", dark"));
            Stage stage(hasJob);
            auto& processor = stage.jobs.rig.processor;
            const auto nothing = [] {};
            gui::JobMenu jobMenu(*stage.jobs.rig.desk, processor,
                                 {nothing, [](const juce::File&) {}, nothing, nothing, nothing});
            // In a component, as a display may have no window manager to show it in one of its own.
            juce::Component host;
            host.setSize(1280, 720);
            const Dialog dialog(host, light);
            juce::PopupMenu made = jobMenu.make(processor.snapshot(), false);
            made.setLookAndFeel(&host.getLookAndFeel());
            made.showMenuAsync(juce::PopupMenu::Options().withParentComponent(&host));
            juce::Component* const menu = openMenu(host, {});
            REQUIRE(menu != nullptr);
            CHECK(lookAtMenu(*menu, {}, light ? 2.0F : 1.0F) >= (hasJob ? 18U : 12U));
            juce::PopupMenu::dismissAllActiveMenus();
            test::runMessages(20);
        }
}

TEST_CASE("The audio settings can be named, reached and read", "[plugin][walk]")
{
    test::BenchRig rig;
    for (const bool light : {false, true}) {
        plugin::AudioSettings settings(rig.devices);
        Dialog dialog(settings, light);
        dialog.window.type(juce::KeyPress(juce::KeyPress::tabKey));
        const juce::StringArray findings = lookAt(dialog.window, settings, light ? 2.0F : 1.0F);
        INFO(findings.joinIntoString("\n"));
        CHECK(findings.isEmpty());
    }
}

TEST_CASE("A chooser of files that is the program's own can be named, reached and read",
          "[plugin][walk]")
{
    using Browser = juce::FileBrowserComponent;
    const test::TemporaryFolder folder;
    const juce::File shown = plugin::toFile(folder.path());
    REQUIRE(shown.getChildFile("Takes").createDirectory());
    for (const char* const name : {"front left.wav", "notes on the right hand side.txt"})
        REQUIRE(shown.getChildFile(name).replaceWithText("made up"));
    for (const int flags :
         {Browser::openMode | Browser::canSelectFiles,
          Browser::openMode | Browser::canSelectDirectories,
          Browser::saveMode | Browser::canSelectFiles | Browser::warnAboutOverwriting})
        for (const bool light : {false, true}) {
            INFO("flags " << flags << (light ? ", light" : ", dark"));
            juce::Component behind;
            behind.setSize(640, 540);
            Dialog dialog(behind, light);
            Browser browser(flags, shown.getChildFile("a name"), nullptr, nullptr);
            juce::FileChooserDialogBox box("Name the copy's folder", {}, browser, true,
                                           gui::paletteOf(behind).background, &behind);
            box.setBounds(20, 20, 600, 500);
            auto* const list = dynamic_cast<juce::ListBox*>(browser.getDisplayComponent());
            REQUIRE(list != nullptr);
            for (int round = 0; round < 100 && list->getComponentForRowNumber(0) == nullptr;
                 ++round)
                test::runMessages(20);
            list->updateContent();
            list->selectRow(0);
            list->grabKeyboardFocus();
            const juce::StringArray findings = lookAt(dialog.window, box, light ? 2.0F : 1.0F);
            INFO(findings.joinIntoString("\n"));
            CHECK(findings.isEmpty());
        }
}
