#pragma once

#include "Gui/AnalyserPanel.h"
#include "Gui/BenchMeter.h"
#include "Gui/MeasuredPanel.h"

namespace saddletone::gui {

/** The Bike place: the input with its meter, a take to be recorded, the live analyser, and what
    the takes came to. */
class BikePlace final : public juce::Component {
public:
    explicit BikePlace(BenchModel& benchModel);

    void show(const BenchSnapshot& snapshot);
    /** Shows the takes and curves, or the live analyser. */
    void showTakes(bool shouldShowTakes);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    /** A name and the control it belongs to. */
    struct Row {
        juce::Label label;
        juce::Component* control = nullptr;
    };

    void addRow(Row& row, juce::Component& control, const juce::String& name,
                const juce::String& description);
    void chooseTrack();
    void applyWords();
    [[nodiscard]] juce::String statusWords() const;

    BenchModel& model;
    BenchSnapshot shown;

    juce::ComboBox deviceBox, channelBox;
    juce::TextButton inputButton {"Switch on"};
    BenchMeter meter {"Input level", BenchMeter::Marks::recording};
    juce::TextButton clipButton {"Reset clip"};
    juce::TextEditor profileEditor, placeEditor;
    juce::ComboBox engineBox, purposeBox, sourceBox;
    juce::TextButton trackButton;
    juce::TextButton recordButton {"Record take"};
    juce::Label calibrationLabel;
    Row deviceRow, channelRow, profileRow, engineRow, placeRow, purposeRow, sourceRow, trackRow;

    juce::TextButton analyserTab {"Live analyser"};
    juce::TextButton takesTab {"Takes and curves"};
    AnalyserPanel analyser;
    MeasuredPanel takes;
    std::size_t numTakesSeen = 0;

    juce::Rectangle<int> inputPanel, takePanel, viewPanel, statusArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
