#pragma once

#include "Gui/BenchMeter.h"
#include "Gui/BenchModel.h"
#include "Gui/ChoiceBox.h"
#include "Gui/NoticePanel.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** The Signals place: the tracks of the shop's set, writing them, and playing one live. */
class SignalsPlace final : public juce::Component, private juce::ListBoxModel {
public:
    explicit SignalsPlace(BenchModel& benchModel);
    ~SignalsPlace() override;
    SignalsPlace(const SignalsPlace&) = delete;
    SignalsPlace& operator=(const SignalsPlace&) = delete;

    void show(const BenchSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    int getNumRows() override;
    void paintListBoxItem(int row, juce::Graphics& g, int width, int height,
                          bool isSelected) override;
    juce::String getNameForRow(int row) override;
    void selectedRowsChanged(int row) override;
    void returnKeyPressed(int row) override;

    void chooseFolder();
    void togglePlaying();
    [[nodiscard]] const SignalView* selected() const;
    void writePurpose();

    BenchModel& model;
    BenchSnapshot shown;

    juce::TextEditor purposeText; // read only; it scrolls where the words are many
    juce::ListBox list {"Test signals", this};
    juce::TextButton writeButton {
        juce::String::fromUTF8("Write the tracks to a folder / USB stick\xe2\x80\xa6")};
    juce::TextButton cancelButton {"Cancel"};
    juce::Slider levelSlider;
    ChoiceBox sideBox;
    juce::Label levelLabel, sideLabel;
    BenchMeter meter {"Output level", BenchMeter::Marks::none};
    juce::TextButton playButton {"Play"};
    juce::TextButton stopButton {"Stop (Esc)"};
    NoticePanel loudPanel {NoticePanel::Kind::safety,
                           juce::String::fromUTF8("Louder than \xe2\x88\x92"
                                                  "12 dBFS?"),
                           "Allow it"};
    juce::Rectangle<int> listPanel, writePanel, playPanel, progressArea, messageArea, stateArea,
        cautionArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
