#pragma once

#include "Gui/ChoiceBox.h"
#include "Gui/FindingPanel.h"
#include "Gui/NumberField.h"

namespace saddletone::gui {

/** What the tuning asks of speaker and amplifier. */
class CostPanel final : public juce::Component {
public:
    explicit CostPanel(TuningModel& tuningModel);

    void show(const TuningSnapshot& snapshot);

    void resized() override;
    void lookAndFeelChanged() override;

private:
    void chooseFile();

    TuningModel& model;
    juce::StringArray names;
    juce::Label speakerLabel, splLabel;
    ChoiceBox speakerBox;
    NumberField splField;
    juce::TextButton fileButton {juce::String::fromUTF8("File\xe2\x80\xa6")};
    FindingPanel finding {"What it costs"};
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
