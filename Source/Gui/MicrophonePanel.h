#pragma once

#include "Gui/BenchModel.h"
#include "Gui/ChoiceBox.h"
#include "Gui/Look.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** The measuring microphone: its tables for sound from the front and from the side, and which of
    them is taken out of takes. */
class MicrophonePanel final : public juce::Component {
public:
    explicit MicrophonePanel(BenchModel& benchModel);
    ~MicrophonePanel() override;
    MicrophonePanel(const MicrophonePanel&) = delete;
    MicrophonePanel& operator=(const MicrophonePanel&) = delete;

    void show(const BenchSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    /** The table of one incidence. */
    struct Row {
        juce::Label label;
        juce::TextButton chooseButton;
        juce::TextButton forgetButton {"Forget"};
    };

    void addRow(Row& row, measure::Incidence incidence, const juce::String& name);
    void chooseTable(measure::Incidence incidence);
    void drawTables(juce::Graphics& g, const Palette& palette) const;

    BenchModel& model;
    MicrophoneView shown;
    Row frontRow, sideRow;
    juce::Label incidenceLabel;
    ChoiceBox incidenceBox;
    juce::Rectangle<int> introArea, wordsArea, plotArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
