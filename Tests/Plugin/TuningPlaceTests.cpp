#include "Core/Dsp/Units.h"
#include "Gui/AuditionEditor.h"
#include "Gui/ElementWords.h"
#include "Plugin/Paths.h"
#include "Support/EditorFixtures.h"
#include "Support/TuningRig.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace saddletone;
using test::TuningRig;
using tuning::ElementType;

namespace {

/** The program's window on Tuning, over a real processor and desk. */
struct TuningWindow {
    TuningRig rig;
    test::RecordingBench bench;
    gui::AuditionEditor editor {rig.processor, &bench, rig.desk.get()};

    TuningWindow()
    {
        editor.goTo(gui::Place::tuning);
        editor.refresh();
    }

    gui::TuningPlace& place() { return *editor.tuning(); }
    gui::TuningPlot& plot() { return place().plot(); }
    std::vector<gui::DraftElement> elements() { return rig.desk->tuningSnapshot().elements; }

    juce::Component& handle(std::size_t element)
    {
        juce::Component* const found = plot().handleOf(element);
        REQUIRE(found != nullptr);
        return *found;
    }

    /** A mouse event on a handle at a place in the plot. */
    juce::MouseEvent mouseAt(juce::Component& component, juce::Point<float> inPlot,
                             juce::ModifierKeys keys)
    {
        const juce::Point<float> position = component.getLocalPoint(&plot(), inPlot);
        return {juce::Desktop::getInstance().getMainMouseSource(),
                position,
                keys,
                0.0F,
                0.0F,
                0.0F,
                0.0F,
                0.0F,
                &component,
                &component,
                juce::Time(),
                position,
                juce::Time(),
                1,
                false};
    }

    /** Drags an element's handle to a frequency and a gain, in steps as a hand does. */
    void drag(std::size_t element, double frequencyHz, double gainDb,
              juce::ModifierKeys keys = juce::ModifierKeys::leftButtonModifier)
    {
        const gui::FrequencyPlot axes = plot().axes();
        juce::Component& component = handle(element);
        const auto start = component.getBounds().toFloat().getCentre();
        const juce::Point<float> end(axes.xOf(frequencyHz), axes.yOf(gainDb));
        component.mouseDown(mouseAt(component, start, keys));
        constexpr int numMoves = 20;
        for (int move = 1; move <= numMoves; ++move)
            component.mouseDrag(mouseAt(
                component, start + (end - start) * (static_cast<float>(move) / numMoves), keys));
        component.mouseUp(mouseAt(component, end, keys));
    }

    bool press(juce::Component& component, int code, int modifiers = 0)
    {
        return component.keyPressed(juce::KeyPress(code, juce::ModifierKeys(modifiers), 0));
    }

    bool pressCommand(char letter, int more = 0)
    {
        return editor.keyPressed(juce::KeyPress(
            letter, juce::ModifierKeys(juce::ModifierKeys::commandModifier | more), 0));
    }
};

template <typename Kind>
void collect(juce::Component& component, std::vector<Kind*>& found)
{
    for (juce::Component* const child : component.getChildren()) {
        if (auto* const wanted = dynamic_cast<Kind*>(child))
            found.push_back(wanted);
        collect(*child, found);
    }
}

juce::Component& titled(juce::Component& component, const juce::String& title)
{
    std::vector<juce::Component*> all;
    collect(component, all);
    const auto found = std::ranges::find_if(
        all, [&](juce::Component* each) { return each->getTitle() == title && each->isVisible(); });
    INFO(title);
    REQUIRE(found != all.end());
    return **found;
}

} // namespace

TEST_CASE("Dragging a handle changes the element and what is heard, as one step",
          "[plugin][tuning][editor]")
{
    TuningWindow window;
    const double before = window.rig.sineLevelDb(1000.0);
    window.place().list().add(ElementType::peaking);
    window.drag(0, 1000.0, -10.0);
    window.rig.settle();
    REQUIRE(window.elements().size() == 1);
    const tuning::Element dragged = window.elements()[0].element;
    // A pixel is about 0.15 dB and a hundredth of an octave here.
    CHECK(dragged.frequencyHz == Approx(1000.0).epsilon(0.01));
    CHECK(dragged.gainDb == Approx(-10.0).margin(0.3));
    CHECK(window.rig.sineLevelDb(1000.0) - before == Approx(dragged.gainDb).margin(0.1));

    window.drag(0, 4000.0, 6.0);
    CHECK(window.elements()[0].element.frequencyHz == Approx(4000.0).epsilon(0.02));
    CHECK(window.pressCommand('z'));
    CHECK(window.elements()[0].element == dragged);
    CHECK(window.pressCommand('z'));
    CHECK(window.elements()[0].element.gainDb == 0.0);
    CHECK(window.pressCommand('z', juce::ModifierKeys::shiftModifier));
    CHECK(window.elements()[0].element == dragged);
    CHECK(window.pressCommand('y'));
    CHECK(window.elements()[0].element.frequencyHz == Approx(4000.0).epsilon(0.02));
    window.rig.settle();
}

TEST_CASE("Dragging with Alt and the wheel change Q", "[plugin][tuning][editor]")
{
    TuningWindow window;
    window.place().list().add(ElementType::peaking);
    const tuning::Element before = window.elements()[0].element;
    window.drag(0, 1000.0, 8.0,
                juce::ModifierKeys(juce::ModifierKeys::leftButtonModifier
                                   | juce::ModifierKeys::altModifier));
    const tuning::Element turned = window.elements()[0].element;
    CHECK(turned.q > 1.3 * before.q);
    CHECK(turned.gainDb == before.gainDb);
    CHECK(turned.frequencyHz == before.frequencyHz);
    juce::Component& handle = window.handle(0);
    juce::MouseWheelDetails wheel {};
    wheel.deltaY = -0.5F;
    for (int notch = 0; notch < 3; ++notch)
        handle.mouseWheelMove(window.mouseAt(handle, {}, {}), wheel);
    CHECK(window.elements()[0].element.q == Approx(turned.q * std::exp2(-1.5)));
    window.rig.desk->endRun();
    window.rig.desk->undo();
    CHECK(window.elements()[0].element == turned);
    window.rig.settle();
}

TEST_CASE("Elements are moved, turned, switched and removed by keys alone",
          "[plugin][tuning][editor]")
{
    TuningWindow window;
    window.place().list().add(ElementType::peaking);
    juce::Component& handle = window.handle(0);
    CHECK(handle.getWantsKeyboardFocus());
    for (int press = 0; press < 12; ++press)
        CHECK(window.press(handle, juce::KeyPress::rightKey));
    CHECK(window.elements()[0].element.frequencyHz == Approx(2000.0));
    CHECK(window.press(handle, juce::KeyPress::leftKey, juce::ModifierKeys::shiftModifier));
    CHECK(window.elements()[0].element.frequencyHz == Approx(2000.0 * std::exp2(-1.0 / 96.0)));
    for (int press = 0; press < 4; ++press)
        window.press(handle, juce::KeyPress::upKey);
    window.press(handle, juce::KeyPress::downKey, juce::ModifierKeys::shiftModifier);
    CHECK(window.elements()[0].element.gainDb == Approx(1.9));
    window.press(handle, juce::KeyPress::pageUpKey);
    CHECK(window.elements()[0].element.q == Approx(std::exp2(0.25)));
    // All of it was one run of keys.
    CHECK(window.pressCommand('z'));
    CHECK(window.elements()[0] == gui::newElement(ElementType::peaking));
    window.pressCommand('y');

    CHECK(window.press(handle, juce::KeyPress::spaceKey));
    CHECK_FALSE(window.elements()[0].isOn);
    CHECK(window.press(handle, juce::KeyPress::spaceKey));
    CHECK(window.elements()[0].isOn);
    CHECK(window.press(handle, juce::KeyPress::deleteKey));
    CHECK(window.elements().empty());
    CHECK(window.plot().handleOf(0) == nullptr);
    CHECK(window.pressCommand('z'));
    CHECK(window.elements().size() == 1);
    window.rig.settle();
}

TEST_CASE("Tab goes through the handles in the order of their numbers", "[plugin][tuning][editor]")
{
    TuningWindow window;
    for (const double frequencyHz : {8000.0, 100.0, 1000.0}) {
        gui::DraftElement draft = gui::newElement(ElementType::peaking);
        draft.element.frequencyHz = frequencyHz;
        window.rig.desk->addElement(draft);
    }
    window.editor.refresh();
    juce::KeyboardFocusTraverser traverser;
    CHECK(traverser.getNextComponent(&window.handle(0)) == &window.handle(1));
    CHECK(traverser.getNextComponent(&window.handle(1)) == &window.handle(2));
    CHECK(window.handle(1).getTitle().contains("Element 2: Peaking 100 Hz"));
    window.rig.settle();
}

TEST_CASE("Fields take numbers with comma or dot and refuse what is none",
          "[plugin][tuning][editor]")
{
    TuningWindow window;
    window.place().list().add(ElementType::peaking);
    auto& frequency = dynamic_cast<gui::NumberField&>(titled(window.place(), "Frequency in Hz"));
    auto& gain = dynamic_cast<gui::NumberField&>(titled(window.place(), "Gain in dB"));
    auto& q = dynamic_cast<gui::NumberField&>(titled(window.place(), "Q"));
    const auto type = [](gui::NumberField& field, const char* text) {
        field.setText(text, false);
        field.onReturnKey();
    };
    type(frequency, "1,25k");
    type(gain, "-3,5");
    type(q, "2.2");
    tuning::Element element = window.elements()[0].element;
    CHECK(element.frequencyHz == 1250.0);
    CHECK(element.gainDb == -3.5);
    CHECK(element.q == 2.2);
    type(gain, "loud");
    CHECK(window.elements()[0].element.gainDb == -3.5);
    CHECK(gain.getText() == gui::numberWords(-3.5, 1));
    type(gain, "300");
    CHECK(window.elements()[0].element.gainDb == 40.0);
    CHECK(window.press(gain, juce::KeyPress::downKey));
    CHECK(window.elements()[0].element.gainDb == 39.5);
    for (int step = 0; step < 5; ++step)
        window.pressCommand('z');
    CHECK(window.elements()[0] == gui::newElement(ElementType::peaking));
    window.rig.settle();
}

TEST_CASE("The list's boxes change kind, side and order", "[plugin][tuning][editor]")
{
    TuningWindow window;
    window.place().list().add(ElementType::peaking);
    const auto choose = [&](const char* title, const char* item) {
        auto& box = dynamic_cast<juce::ComboBox&>(titled(window.place(), title));
        int index = 0;
        while (index < box.getNumItems() && box.getItemText(index) != item)
            ++index;
        INFO(title << " " << item);
        REQUIRE(index < box.getNumItems());
        box.setSelectedItemIndex(index, juce::sendNotificationSync);
    };
    choose("Kind", "High-pass");
    choose("Speakers", "Left");
    choose("Alignment", "Butterworth");
    choose("Order", "3");
    CHECK(window.elements()[0].element.type == ElementType::highPass);
    CHECK(window.elements()[0].element.frequencyHz == 1000.0);
    CHECK(window.elements()[0].group == tuning::OutputGroup::left);
    CHECK(window.elements()[0].element.order == 3);
    // Orders that the alignment does not have are not left standing.
    choose("Alignment", "Linkwitz-Riley");
    CHECK(window.elements()[0].element.order == 2);
    for (const ElementType kind : gui::offeredTypes())
        window.place().list().add(kind);
    CHECK(window.elements().size() == 13);
    window.editor.refresh();
    CHECK(test::countColours(window.editor.createComponentSnapshot(window.editor.getLocalBounds()))
          > 50);
    window.rig.settle();
    CHECK(window.rig.processor.snapshot().problem.isEmpty());
    CHECK(window.rig.desk->tuningSnapshot().limits.contains("not heard yet"));
}

TEST_CASE("Keys pick the candidate, save and play on Tuning", "[plugin][tuning][editor]")
{
    TuningWindow window;
    CHECK(window.editor.keyPressed(test::characterKey('2')));
    CHECK(window.rig.desk->tuningSnapshot().edited == 1);
    window.place().list().add(ElementType::lowShelf);
    CHECK(window.pressCommand('s'));
    CHECK_FALSE(window.rig.desk->tuningSnapshot().hasUnsaved);
    CHECK(window.editor.keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)));
    CHECK(gui::parameterValue(window.rig.processor.parameters(), "outputLevelDb") == -60.0);
    CHECK(window.bench.place == gui::Place::tuning);
    CHECK_FALSE(window.editor.keyPressed(juce::KeyPress(juce::KeyPress::upKey)));
    window.rig.settle();
}

TEST_CASE("Another job is opened only after a word about what is not saved",
          "[plugin][tuning][editor]")
{
    using Answer = gui::UnsavedPanel::Answer;
    TuningWindow window;
    const job::Job second = test::writeMadeUpJob(window.rig.folder.path() / "second", "Second job");
    const juce::File folder = plugin::toFile(second.folder);
    const auto title = [&] { return window.rig.processor.snapshot().job->title; };
    const auto panel = [&]() -> gui::UnsavedPanel* {
        std::vector<gui::UnsavedPanel*> panels;
        collect(static_cast<juce::Component&>(window.editor), panels);
        return panels.empty() || !panels[0]->isVisible() ? nullptr : panels[0];
    };
    window.place().list().add(ElementType::lowShelf);
    window.editor.openJob(folder);
    REQUIRE(panel() != nullptr);
    panel()->onAnswer(Answer::stay);
    CHECK(panel() == nullptr);
    window.rig.settle();
    CHECK(title() == "Made-up job");
    CHECK(window.elements().size() == 1);

    window.editor.openJob(folder);
    REQUIRE(panel() != nullptr);
    CHECK(panel()->keyPressed(juce::KeyPress(juce::KeyPress::returnKey)));
    window.rig.settle();
    CHECK(title() == "Second job");
    const auto saved = job::loadJob(window.rig.job.folder);
    REQUIRE(saved);
    CHECK_FALSE(saved->candidates[0].tuningFile.empty());

    window.place().list().add(ElementType::notch);
    window.editor.openJob(plugin::toFile(window.rig.job.folder));
    REQUIRE(panel() != nullptr);
    panel()->onAnswer(Answer::letGo);
    window.rig.settle();
    CHECK(title() == "Made-up job");
    CHECK(window.elements().size() == 1);
    const auto untouched = job::loadJob(second.folder);
    REQUIRE(untouched);
    CHECK(untouched->candidates == second.candidates);

    window.editor.openJob(folder);
    CHECK(panel() == nullptr);
    window.rig.settle();
    CHECK(title() == "Second job");
}

TEST_CASE("Every control of Tuning has a name and can be reached by keyboard",
          "[plugin][tuning][editor]")
{
    TuningWindow window;
    for (const ElementType kind : gui::offeredTypes())
        window.place().list().add(kind);
    window.editor.refresh();
    std::vector<juce::Component*> controls;
    test::collectControls(window.place(), controls);
    std::vector<juce::TextEditor*> fields;
    collect(static_cast<juce::Component&>(window.place()), fields);
    for (juce::TextEditor* const field : fields)
        if (dynamic_cast<juce::Label*>(field->getParentComponent()) == nullptr)
            controls.push_back(field);
    for (std::size_t index = 0; index < window.elements().size(); ++index)
        if (juce::Component* const handle = window.plot().handleOf(index))
            controls.push_back(handle);
    CHECK(controls.size() >= 60);
    for (juce::Component* const control : controls) {
        INFO(control->getTitle() << " " << control->getBounds().toString());
        CHECK(control->getTitle().isNotEmpty());
        CHECK(control->getDescription().isNotEmpty());
        // JUCE takes the focus from what cannot be pressed just now.
        CHECK((control->getWantsKeyboardFocus() || !control->isEnabled()));
        if (dynamic_cast<juce::Slider*>(control->getParentComponent()) == nullptr
            && control->getTitle() != "Position")
            if (auto* const tips = dynamic_cast<juce::SettableTooltipClient*>(control);
                tips != nullptr
                && control->findParentComponentOfClass<gui::TransportRow>() == nullptr)
                CHECK(tips->getTooltip().isNotEmpty());
    }
    window.rig.settle();
}

TEST_CASE("Controls of Tuning stay apart and inside the window at every size",
          "[plugin][tuning][editor]")
{
    TuningWindow window;
    for (int count = 3; count < 8; ++count)
        window.rig.desk->addCandidate();
    for (const ElementType kind : {ElementType::graphic, ElementType::limiter,
                                   ElementType::highPass, ElementType::lowShelf}) {
        window.place().list().add(kind);
        for (const auto panel : {gui::TuningPanel::elements, gui::TuningPanel::fit,
                                 gui::TuningPanel::verdict, gui::TuningPanel::cost}) {
            window.place().showPanel(panel);
            for (const auto& [width, height] :
                 {std::pair {1024, 700}, std::pair {1280, 720}, std::pair {1920, 1080}}) {
                window.editor.setSize(width, height);
                window.editor.refresh();
                std::vector<juce::Component*> controls;
                test::collectControls(window.place(), controls);
                std::vector<gui::NumberField*> fields;
                collect(static_cast<juce::Component&>(window.place()), fields);
                controls.insert(controls.end(), fields.begin(), fields.end());
                std::erase_if(controls, [&](juce::Component* control) {
                    for (juce::Component* each = control; each != &window.editor;
                         each = each->getParentComponent())
                        if (!each->isVisible())
                            return true;
                    // Rows scroll, and the small button on a plate lies on it.
                    return control->findParentComponentOfClass<juce::Viewport>() != nullptr
                           || control->getTitle().startsWith("Curve of candidate");
                });
                CHECK(controls.size() >= 16);
                for (std::size_t first = 0; first < controls.size(); ++first) {
                    const auto area = window.editor.getLocalArea(controls[first],
                                                                 controls[first]->getLocalBounds());
                    INFO(width << "x" << height << " " << controls[first]->getTitle());
                    CHECK(window.place().getBounds().contains(area));
                    CHECK(area.getHeight() >= 28);
                    CHECK(area.getWidth() >= 40);
                    for (std::size_t second = first + 1; second < controls.size(); ++second) {
                        INFO(controls[second]->getTitle());
                        CHECK_FALSE(area.intersects(window.editor.getLocalArea(
                            controls[second], controls[second]->getLocalBounds())));
                    }
                }
            }
        }
    }
    window.rig.settle();
}

TEST_CASE("Tuning is drawn in both looks, with and without a job", "[plugin][tuning][editor]")
{
    TuningWindow window;
    for (const bool light : {false, true}) {
        window.rig.processor.setUsesLightLook(light);
        window.editor.refresh();
        CHECK(test::countColours(
                  window.editor.createComponentSnapshot(window.editor.getLocalBounds()))
              > 50);
    }
    plugin::AuditionProcessor empty;
    plugin::TuningDesk desk(empty, juce::File());
    gui::AuditionEditor editor(empty, &window.bench, &desk);
    editor.goTo(gui::Place::tuning);
    editor.refresh();
    CHECK(test::countColours(editor.createComponentSnapshot(editor.getLocalBounds())) > 50);
    CHECK(desk.addElement(gui::newElement(ElementType::peaking)) == 0);
    desk.undo();
    desk.fitFilters();
    CHECK_FALSE(desk.save());
    CHECK_FALSE(desk.tuningSnapshot().hasJob);
}

TEST_CASE("Without its model there is no Tuning place", "[plugin][tuning][editor]")
{
    test::RecordingModel model;
    test::RecordingBench bench;
    gui::AuditionEditor editor(model, &bench);
    editor.goTo(gui::Place::tuning);
    CHECK(editor.currentPlace() == gui::Place::listen);
    CHECK(editor.tuning() == nullptr);
}
