#pragma once

#include "Gui/AnalyserPanel.h"
#include "Gui/BenchMeter.h"
#include "Gui/ChoiceBox.h"
#include "Gui/MeasuredPanel.h"
#include "Gui/MicrophonePanel.h"

namespace saddletone::gui {

/** What the Bike place shows beside the input and the take. */
enum class BikePanel { analyser, curves, microphone };

/** The Bike place: the input with its meter, a take to be recorded, the live analyser, what the
    takes came to, and the microphone's curves. */
class BikePlace final : public juce::Component {
public:
    explicit BikePlace(BenchModel& benchModel);

    void show(const BenchSnapshot& snapshot);
    void showPanel(BikePanel panel);
    /** Of the panel of takes and curves. */
    void showAspect(MeasuredAspect aspect) { takes.showAspect(aspect); }

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

    ChoiceBox deviceBox, channelBox;
    juce::TextButton inputButton {"Switch on"};
    BenchMeter meter {"Input level", BenchMeter::Marks::recording};
    juce::TextButton clipButton {"Reset clip"};
    juce::TextEditor profileEditor, placeEditor;
    ChoiceBox engineBox, speakersBox, purposeBox, sourceBox;
    juce::TextButton trackButton;
    juce::TextButton recordButton {"Record take"};
    juce::Label calibrationLabel;
    Row deviceRow, channelRow, profileRow, engineRow, speakersRow, placeRow, purposeRow, sourceRow,
        trackRow;

    juce::TextButton analyserTab {"Live analyser"};
    juce::TextButton takesTab {"Takes and curves"};
    juce::TextButton microphoneTab {"Microphone curve"};
    AnalyserPanel analyser;
    MeasuredPanel takes;
    MicrophonePanel microphone;
    std::size_t numTakesSeen = 0;

    juce::Rectangle<int> inputPanel, takePanel, viewPanel, statusArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
