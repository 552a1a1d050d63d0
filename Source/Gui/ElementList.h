#pragma once

#include "Gui/ChoiceBox.h"
#include "Gui/NumberField.h"
#include "Gui/TuningModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>
#include <vector>

namespace saddletone::gui {

/** The elements of the edited candidate as a numbered list, and the fields of the selected one. */
class ElementList final : public juce::Component {
public:
    explicit ElementList(TuningModel& tuningModel);
    ~ElementList() override;
    ElementList(const ElementList&) = delete;
    ElementList& operator=(const ElementList&) = delete;

    std::function<void()> onChange;
    std::function<void(std::size_t)> onSelect;

    void show(const TuningSnapshot& snapshot, std::size_t selectedElement);
    /** Adds an element of a kind and selects it. */
    void add(tuning::ElementType type);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    class Row;

    /** A field of the selected element with its name. */
    struct Field {
        juce::Label label;
        juce::Component* control = nullptr;
        std::function<bool(const tuning::Element&)> isUsed;
        bool isWide = false; ///< Takes a row of its own.
    };

    void addField(juce::Component& control, const juce::String& name,
                  std::function<bool(const tuning::Element&)> isUsed);
    void makeFields();
    void layOutFields();
    void showFields();
    void scrollToSelected();
    void openMenu();
    /** Changes the selected element as one step. */
    void change(const std::function<void(DraftElement&)>& edit);
    void removeSelected();
    void toggleSelected();
    [[nodiscard]] const DraftElement* current() const;

    TuningModel& model;
    std::vector<DraftElement> elements;
    std::size_t selected = 0;
    bool hasJob = false;

    juce::TextButton addButton {juce::String::fromUTF8("Add\xe2\x80\xa6")};
    juce::TextButton onButton {"On"};
    juce::TextButton removeButton {"Delete"};
    juce::TextButton undoButton {"Undo"};
    juce::TextButton redoButton {"Redo"};
    juce::Component rowArea;
    juce::Viewport rowView;
    std::vector<std::unique_ptr<Row>> rows;

    ChoiceBox typeBox, groupBox, alignmentBox, orderBox, bandBox;
    NumberField frequencyField, gainField, qField, slopeField, bandGainField, delayField,
        thresholdField, attackField, releaseField;
    std::vector<std::unique_ptr<Field>> fields;
    juce::Rectangle<int> formArea;
};

} // namespace saddletone::gui
