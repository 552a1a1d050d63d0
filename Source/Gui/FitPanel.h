#pragma once

#include "Gui/ChoiceBox.h"
#include "Gui/NumberField.h"
#include "Gui/TuningModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>

namespace saddletone::gui {

/** The target, and fits of filters or tone controls to it. */
class FitPanel final : public juce::Component {
public:
    explicit FitPanel(TuningModel& tuningModel);

    std::function<void()> onChange;

    void show(const TuningSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    void addRow(juce::Label& label, const juce::String& words, juce::Component& control);
    void chooseTarget();
    void chooseFile();
    void applyFit();

    TuningModel& model;
    TargetChoice target;
    FitChoice fit;
    juce::String words;
    bool isProblem = false;
    TuningTask task = TuningTask::none;

    juce::Label targetLabel, shelfLabel, shelfHzLabel, fromLabel, toLabel, numberLabel, boostLabel,
        toneLabel;
    ChoiceBox targetBox, numberBox, toneBox;
    NumberField shelfField, shelfHzField, fromField, toField, boostField;
    juce::TextButton filtersButton {"Fit filters"};
    juce::TextButton toneButton {"Fit tone controls"};
    juce::Rectangle<int> wordsArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
