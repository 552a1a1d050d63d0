#include "Gui/ElementList.h"

#include "Core/Dsp/OctaveBands.h"
#include "Gui/ElementWords.h"
#include "Gui/Look.h"

#include <algorithm>
#include <array>

namespace saddletone::gui {

namespace {

using tuning::Element;
using tuning::ElementType;

constexpr int rowHeight = 30;
constexpr int fieldHeight = 30;
constexpr int fieldGap = 6;
constexpr int labelWidth = 78;

constexpr std::array offeredGroups {tuning::OutputGroup::all, tuning::OutputGroup::left,
                                    tuning::OutputGroup::right};
constexpr std::array alignments {tuning::Alignment::butterworth, tuning::Alignment::linkwitzRiley,
                                 tuning::Alignment::bessel};

std::function<juce::String(double)> decimals(int count)
{
    return [count](double value) { return numberWords(value, count); };
}

/** Orders that an element can have. */
std::vector<int> ordersOf(const Element& element)
{
    if (element.type == ElementType::allPass)
        return {1, 2};
    if (element.alignment == tuning::Alignment::linkwitzRiley)
        return {2, 4, 8};
    return {1, 2, 3, 4, 5, 6, 7, 8};
}

/** The nearest order that the element can have. */
int nearestOrder(const Element& element)
{
    const std::vector<int> orders = ordersOf(element);
    return *std::ranges::min_element(orders, {},
                                     [&](int order) { return std::abs(order - element.order); });
}

/** What of an element stays when its kind is changed: place, gain and q, as far as they count. */
Element withType(const Element& old, ElementType type)
{
    Element changed = newElement(type).element;
    changed.label = old.label;
    if (tuning::hasFrequency(old.type))
        changed.frequencyHz = old.frequencyHz;
    if (tuning::hasGain(old.type))
        changed.gainDb = old.gainDb;
    if (tuning::hasQ(old) && tuning::isShelf(old.type) == tuning::isShelf(type))
        changed.q = old.q;
    if (tuning::isPass(old.type) && tuning::isPass(type)) {
        changed.alignment = old.alignment;
        changed.order = old.order;
    }
    return changed;
}

} // namespace

class ElementList::Row final : public juce::Button {
public:
    Row(ElementList& list, std::size_t elementIndex)
        : juce::Button({}), owner(list), index(elementIndex)
    {
        setHasFocusOutline(true);
        onClick = [this] { owner.onSelect(index); };
    }

    void show(const DraftElement& draft, bool isSelected)
    {
        setToggleState(isSelected, juce::dontSendNotification);
        const juce::String newWords = elementWords(draft);
        if (newWords == words && isOn == draft.isOn)
            return;
        words = newWords;
        isOn = draft.isOn;
        setTitle("Element " + juce::String(index + 1) + ": " + words + (isOn ? "" : ", off"));
        setDescription("Press to edit it below. Space switches it off and on, Delete removes it.");
        setTooltip(words);
        repaint();
    }

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override
    {
        const Palette palette = paletteOf(*this);
        const bool isSelected = getToggleState();
        auto area = getLocalBounds().reduced(1);
        juce::Colour fill = isSelected ? palette.accent : palette.control;
        if (isHighlighted || isDown)
            fill = fill.contrasting(0.07F);
        g.setColour(fill);
        g.fillRoundedRectangle(area.toFloat(), 5.0F);
        const juce::Colour ink = isSelected ? palette.onAccent : palette.text;
        g.setColour(ink);
        const auto badge = area.removeFromLeft(32).toFloat().withSizeKeepingCentre(24.0F, 24.0F);
        g.drawEllipse(badge.reduced(1.0F), 1.6F);
        g.setFont(textFont(14.0F, juce::Font::bold));
        g.drawText(juce::String(index + 1), badge, juce::Justification::centred, false);
        if (!isOn) {
            g.drawText("off", area.removeFromRight(34), juce::Justification::centred, false);
        }
        g.setFont(textFont(14.0F));
        area = area.withTrimmedLeft(4);
        g.drawText(words, area, juce::Justification::centredLeft, true);
        if (!isOn) {
            const float width = std::min(static_cast<float>(area.getWidth()),
                                         g.getCurrentFont().getStringWidthFloat(words));
            g.drawLine(static_cast<float>(area.getX()), static_cast<float>(area.getCentreY()),
                       static_cast<float>(area.getX()) + width,
                       static_cast<float>(area.getCentreY()), 1.2F);
        }
    }

    bool keyPressed(const juce::KeyPress& key) override
    {
        if (key.getModifiers().isCommandDown())
            return false;
        if (key.isKeyCode(juce::KeyPress::deleteKey)
            || key.isKeyCode(juce::KeyPress::backspaceKey)) {
            owner.onSelect(index);
            owner.removeSelected();
            return true;
        }
        if (key.isKeyCode(juce::KeyPress::spaceKey)) {
            owner.onSelect(index);
            owner.toggleSelected();
            return true;
        }
        return juce::Button::keyPressed(key);
    }

    void focusGained(FocusChangeType cause) override
    {
        juce::Button::focusGained(cause);
        if (cause == focusChangedByTabKey)
            owner.onSelect(index);
    }

private:
    ElementList& owner;
    const std::size_t index;
    juce::String words;
    bool isOn = true;
};

ElementList::ElementList(TuningModel& tuningModel)
    : model(tuningModel),
      frequencyField("Frequency in Hz", "20 to 20000 Hz. Up and down arrows go by semitones.",
                     {20.0, 20000.0, std::exp2(1.0 / 12.0), true}, frequencyNumber),
      gainField("Gain in dB", "Positive boosts, negative cuts; -40 to 40 dB.", {-40.0, 40.0, 0.5},
                decimals(1)),
      qField("Q", "0.1 is very broad, 30 very narrow.", {0.1, 30.0, std::exp2(0.25), true},
             decimals(2)),
      slopeField("Slope", "Steepness of the shelf, 0.1 to 1.", {0.1, 1.0, 0.05}, decimals(2)),
      bandGainField("Gain of the band in dB", "-40 to 40 dB.", {-40.0, 40.0, 0.5}, decimals(1)),
      delayField("Delay in ms", "0 to 100 ms; sound goes 34 cm in 1 ms.", {0.0, 100.0, 0.1},
                 decimals(2)),
      thresholdField("Threshold in dBFS", "Level above which the limiter acts, -60 to 0 dBFS.",
                     {-60.0, 0.0, 0.5}, decimals(1)),
      attackField("Attack in ms", "0.01 to 1000 ms.", {0.01, 1000.0, 1.2, true}, decimals(2)),
      releaseField("Release in ms", "1 to 10000 ms.", {1.0, 10000.0, 1.2, true}, decimals(0))
{
    setTitle("Elements");
    addControl(*this, addButton, "Add an element", "Adds a filter, gain, delay or other element.");
    addControl(*this, onButton, "Selected element on or off", "Off: it is kept, but not heard.");
    addControl(*this, removeButton, "Delete the selected element",
               "Takes it out; Undo brings it back.");
    addControl(*this, undoButton, "Undo", "Takes the last step back. Key: Ctrl+Z.");
    addControl(*this, redoButton, "Redo", "Makes the step again. Key: Ctrl+Shift+Z.");
    addButton.onClick = [this] { openMenu(); };
    onButton.onClick = [this] { toggleSelected(); };
    removeButton.onClick = [this] { removeSelected(); };
    undoButton.onClick = [this] {
        model.undo();
        onChange();
    };
    redoButton.onClick = [this] {
        model.redo();
        onChange();
    };
    rowView.setTitle("List of elements");
    rowView.setViewedComponent(&rowArea, false);
    rowView.setScrollBarsShown(true, false);
    rowView.setScrollBarThickness(12);
    addAndMakeVisible(rowView);
    makeFields();
}

ElementList::~ElementList() = default;

void ElementList::addField(juce::Component& control, const juce::String& name,
                           std::function<bool(const Element&)> isUsed)
{
    auto field = std::make_unique<Field>();
    field->label.setText(name, juce::dontSendNotification);
    field->label.setFont(textFont(14.0F));
    field->label.setMinimumHorizontalScale(1.0F);
    field->label.setAccessible(false); // the control itself carries the name
    field->control = &control;
    field->isUsed = std::move(isUsed);
    control.setWantsKeyboardFocus(true);
    control.setHasFocusOutline(true);
    addChildComponent(field->label);
    addChildComponent(control);
    fields.push_back(std::move(field));
}

void ElementList::makeFields()
{
    const auto isType = [](ElementType type) {
        return [type](const Element& element) { return element.type == type; };
    };
    const auto always = [](const Element&) { return true; };
    const auto prepare = [](juce::ComboBox& box, const juce::String& title,
                            const juce::String& description) {
        box.setTitle(title);
        box.setDescription(description);
        box.setTooltip(description);
    };
    prepare(typeBox, "Kind", "What the element does.");
    prepare(groupBox, "Speakers", "Which side it acts on.");
    prepare(alignmentBox, "Alignment", "Shape of the pass filter around its frequency.");
    prepare(orderBox, "Order", "6 dB an octave for each.");
    prepare(bandBox, "Band", "Third octave of the graphic equaliser that the gain below is of.");
    for (const ElementType type : offeredTypes())
        typeBox.addItem(typeWords(type), typeBox.getNumItems() + 1);
    for (const tuning::Alignment each : alignments)
        alignmentBox.addItem(alignmentWords(each), alignmentBox.getNumItems() + 1);
    for (const double bandHz : tuning::graphicFrequenciesHz())
        bandBox.addItem(juce::String(dsp::nominalLabel(bandHz)) + " Hz", bandBox.getNumItems() + 1);
    bandBox.setSelectedItemIndex(17, juce::dontSendNotification); // 1 kHz

    addField(typeBox, "Kind", always);
    addField(groupBox, "Side", always);
    addField(frequencyField, "Hz", [](const Element& e) { return tuning::hasFrequency(e.type); });
    addField(gainField, "Gain dB", [](const Element& e) { return tuning::hasGain(e.type); });
    addField(qField, "Q", [](const Element& e) { return tuning::hasQ(e); });
    addField(slopeField, "Slope",
             [](const Element& e) { return tuning::isShelf(e.type) && e.slope.has_value(); });
    addField(orderBox, "Order", [](const Element& e) {
        return tuning::isPass(e.type) || e.type == ElementType::allPass;
    });
    addField(alignmentBox, "Alignment", [](const Element& e) { return tuning::isPass(e.type); });
    fields.back()->isWide = true;
    addField(bandBox, "Band", isType(ElementType::graphic));
    addField(bandGainField, "Gain dB", isType(ElementType::graphic));
    addField(delayField, "Delay", isType(ElementType::delay));
    addField(thresholdField, "At dBFS", isType(ElementType::limiter));
    addField(attackField, "Attack", isType(ElementType::limiter));
    addField(releaseField, "Release", isType(ElementType::limiter));

    const auto setsNumber = [this](NumberField& field, auto&& write) {
        field.onNumber = [this, write](double number) {
            change([&](DraftElement& draft) { write(draft.element, number); });
        };
    };
    setsNumber(frequencyField, [](Element& e, double number) { e.frequencyHz = number; });
    setsNumber(gainField, [](Element& e, double number) { e.gainDb = number; });
    setsNumber(qField, [](Element& e, double number) { e.q = number; });
    setsNumber(slopeField, [](Element& e, double number) { e.slope = number; });
    setsNumber(delayField, [](Element& e, double number) { e.delayMs = number; });
    setsNumber(thresholdField, [](Element& e, double number) { e.thresholdDbfs = number; });
    setsNumber(attackField, [](Element& e, double number) { e.attackMs = number; });
    setsNumber(releaseField, [](Element& e, double number) { e.releaseMs = number; });
    setsNumber(bandGainField, [this](Element& e, double number) {
        e.bandGainsDb[static_cast<std::size_t>(std::max(0, bandBox.getSelectedItemIndex()))] =
            number;
    });
    bandBox.onChange = [this] { showFields(); };
    typeBox.onChange = [this] {
        const auto types = offeredTypes();
        const auto index = static_cast<std::size_t>(std::max(0, typeBox.getSelectedItemIndex()));
        change([&](DraftElement& draft) {
            if (draft.element.type != types[index])
                draft.element = withType(draft.element, types[index]);
        });
    };
    groupBox.onChange = [this] {
        const auto index = static_cast<std::size_t>(std::max(0, groupBox.getSelectedItemIndex()));
        if (index < offeredGroups.size())
            change([&](DraftElement& draft) { draft.group = offeredGroups[index]; });
    };
    alignmentBox.onChange = [this] {
        const auto index =
            static_cast<std::size_t>(std::max(0, alignmentBox.getSelectedItemIndex()));
        change([&](DraftElement& draft) {
            draft.element.alignment = alignments[index];
            draft.element.order = nearestOrder(draft.element);
        });
    };
    orderBox.onChange = [this] {
        if (const int order = orderBox.getSelectedId(); order > 0)
            change([&](DraftElement& draft) { draft.element.order = order; });
    };
}

const DraftElement* ElementList::current() const
{
    return selected < elements.size() ? &elements[selected] : nullptr;
}

void ElementList::change(const std::function<void(DraftElement&)>& edit)
{
    if (current() == nullptr)
        return;
    DraftElement changed = *current();
    edit(changed);
    if (changed == *current())
        return;
    model.endRun();
    model.changeElement(selected, changed, {});
    onChange();
}

void ElementList::removeSelected()
{
    if (current() == nullptr)
        return;
    model.removeElement(selected);
    onChange();
}

void ElementList::toggleSelected()
{
    change([](DraftElement& draft) { draft.isOn = !draft.isOn; });
}

void ElementList::add(ElementType type)
{
    const std::size_t index = model.addElement(newElement(type));
    onSelect(index);
    onChange();
}

void ElementList::openMenu()
{
    juce::PopupMenu menu;
    menu.setLookAndFeel(&getLookAndFeel());
    for (const ElementType type : offeredTypes())
        menu.addItem(typeWords(type)
                         + (type == ElementType::limiter ? " (not heard yet)" : juce::String()),
                     [this, type] { add(type); });
    menu.showMenuAsync(juce::PopupMenu::Options().withTargetComponent(addButton));
}

void ElementList::show(const TuningSnapshot& snapshot, std::size_t selectedElement)
{
    hasJob = snapshot.hasJob;
    addButton.setEnabled(hasJob);
    undoButton.setEnabled(snapshot.canUndo);
    redoButton.setEnabled(snapshot.canRedo);
    const juce::String undoWords =
        snapshot.canUndo ? "Takes back: " + snapshot.undoWords + ". Key: Ctrl+Z."
                         : juce::String("There is nothing to take back. Key: Ctrl+Z.");
    const juce::String redoWords =
        snapshot.canRedo ? "Makes again: " + snapshot.redoWords + ". Key: Ctrl+Shift+Z."
                         : juce::String("There is nothing to make again. Key: Ctrl+Shift+Z.");
    undoButton.setDescription(undoWords);
    undoButton.setTooltip(undoWords);
    redoButton.setDescription(redoWords);
    redoButton.setTooltip(redoWords);
    if (elements == snapshot.elements && selected == selectedElement && !rows.empty())
        return;
    const bool isOtherSelected = selected != selectedElement;
    const bool isOtherCount = elements.size() != snapshot.elements.size();
    elements = snapshot.elements;
    selected = selectedElement;
    while (rows.size() < elements.size()) {
        rows.push_back(std::make_unique<Row>(*this, rows.size()));
        rowArea.addChildComponent(*rows.back());
    }
    for (std::size_t index = 0; index < rows.size(); ++index) {
        rows[index]->setVisible(index < elements.size());
        if (index < elements.size())
            rows[index]->show(elements[index], index == selected);
    }
    const DraftElement* const draft = current();
    onButton.setEnabled(draft != nullptr);
    removeButton.setEnabled(draft != nullptr);
    onButton.setButtonText(draft == nullptr || draft->isOn ? "On" : "Off");
    onButton.setToggleState(draft != nullptr && draft->isOn, juce::dontSendNotification);
    showFields();
    layOutFields();
    if (isOtherCount)
        resized();
    if (isOtherSelected || isOtherCount)
        scrollToSelected();
    repaint();
}

void ElementList::scrollToSelected()
{
    const int top = static_cast<int>(selected) * rowHeight;
    const int shownTop = rowView.getViewPositionY();
    if (top < shownTop)
        rowView.setViewPosition(0, top);
    else if (top + rowHeight > shownTop + rowView.getHeight())
        rowView.setViewPosition(0, top + rowHeight - rowView.getHeight());
}

void ElementList::showFields()
{
    const DraftElement* const draft = current();
    if (draft == nullptr)
        return;
    const Element& element = draft->element;
    const auto types = offeredTypes();
    typeBox.setSelectedItemIndex(
        static_cast<int>(std::ranges::find(types, element.type) - types.begin()),
        juce::dontSendNotification);
    // A file may name a group that is not offered here; it is shown and kept.
    groupBox.clear(juce::dontSendNotification);
    for (const tuning::OutputGroup group : offeredGroups)
        groupBox.addItem(groupWords(group), groupBox.getNumItems() + 1);
    const auto* const group = std::ranges::find(offeredGroups, draft->group);
    if (group == offeredGroups.end())
        groupBox.addItem(groupWords(draft->group), groupBox.getNumItems() + 1);
    groupBox.setSelectedItemIndex(static_cast<int>(group - offeredGroups.begin()),
                                  juce::dontSendNotification);
    alignmentBox.setSelectedItemIndex(
        static_cast<int>(std::ranges::find(alignments, element.alignment) - alignments.begin()),
        juce::dontSendNotification);
    orderBox.clear(juce::dontSendNotification);
    for (const int order : ordersOf(element))
        orderBox.addItem(juce::String(order), order);
    orderBox.setSelectedId(element.order, juce::dontSendNotification);
    frequencyField.show(element.frequencyHz);
    gainField.show(element.gainDb);
    qField.show(element.q);
    slopeField.show(element.slope.value_or(1.0));
    delayField.show(element.delayMs);
    thresholdField.show(element.thresholdDbfs);
    attackField.show(element.attackMs);
    releaseField.show(element.releaseMs);
    bandGainField.show(
        element.bandGainsDb[static_cast<std::size_t>(std::max(0, bandBox.getSelectedItemIndex()))]);
}

void ElementList::layOutFields()
{
    const DraftElement* const draft = current();
    const int columnWidth = (formArea.getWidth() - 10) / 2;
    int place = 0;
    for (const auto& field : fields) {
        const bool isShown = draft != nullptr && field->isUsed(draft->element);
        field->label.setVisible(isShown);
        field->control->setVisible(isShown);
        if (!isShown)
            continue;
        if (field->isWide && place % 2 == 1)
            ++place;
        juce::Rectangle<int> cell(formArea.getX() + (place % 2) * (columnWidth + 10),
                                  formArea.getY() + (place / 2) * (fieldHeight + fieldGap),
                                  columnWidth, fieldHeight);
        if (field->isWide)
            cell.setRight(formArea.getRight());
        field->label.setBounds(cell.removeFromLeft(labelWidth));
        field->control->setBounds(cell);
        place += field->isWide ? 2 : 1;
    }
}

void ElementList::lookAndFeelChanged()
{
    const Palette palette = paletteOf(*this);
    for (const auto& field : fields)
        field->label.setColour(juce::Label::textColourId, palette.text);
}

void ElementList::paint(juce::Graphics& g)
{
    if (!elements.empty())
        return;
    const Palette palette = paletteOf(*this);
    drawWords(g,
              hasJob ? "Nothing is changed yet: this is the bike as measured. Press \"Add\", "
                       "double-click in the picture, or let a fit find filters."
                     : "Open a job to tune its candidates.",
              textFont(15.0F), palette.mutedText, rowView.getBounds().reduced(8),
              juce::Justification::topLeft);
}

void ElementList::resized()
{
    auto area = getLocalBounds();
    auto bar = area.removeFromTop(32);
    const int gap = 6;
    const int width = (bar.getWidth() - 4 * gap) / 5;
    for (juce::TextButton* button :
         {&addButton, &onButton, &removeButton, &undoButton, &redoButton}) {
        button->setBounds(bar.removeFromLeft(width));
        bar.removeFromLeft(gap);
    }
    area.removeFromTop(8);
    formArea = area.removeFromBottom(3 * fieldHeight + 2 * fieldGap);
    area.removeFromBottom(10);
    rowView.setBounds(area);
    const int contentHeight = static_cast<int>(elements.size()) * rowHeight;
    const bool scrolls = contentHeight > area.getHeight();
    rowArea.setSize(area.getWidth() - (scrolls ? 14 : 0), std::max(contentHeight, 1));
    for (std::size_t index = 0; index < rows.size(); ++index)
        rows[index]->setBounds(0, static_cast<int>(index) * rowHeight, rowArea.getWidth(),
                               rowHeight);
    scrollToSelected();
    layOutFields();
}

} // namespace saddletone::gui
