#pragma once

#include "Gui/ChoiceBox.h"
#include "Gui/FindingPanel.h"
#include "Gui/NumberField.h"
#include "Gui/SeatModel.h"

#include <functional>

namespace saddletone::gui {

/** The listener's seat: headphones and their level, where speakers are heard from and through which
    head, and whether headphones or the bike's own speakers are listened to; in words what is applied
    and what of it is an estimate. */
class SeatPanel final : public juce::Component {
public:
    explicit SeatPanel(SeatModel& seatModel);
    ~SeatPanel() override;
    SeatPanel(const SeatPanel&) = delete;
    SeatPanel& operator=(const SeatPanel&) = delete;

    /** Called when the user has done with it. */
    std::function<void()> onClose;
    /** Called before what is listened to is exchanged: the output is to be turned down. */
    std::function<void()> onQuiet;

    /** Takes up the model's state. */
    void refresh();

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    void addRow(juce::Label& label, juce::Component& control, const juce::String& name);
    void chooseFile(const juce::String& title, const juce::String& wildcard,
                    std::function<void(const juce::File&)> onFile);
    void headphonesPicked();
    void headSetPicked();
    void listenPicked();
    void fillBoxes();

    SeatModel& model;
    SeatView shown;
    juce::Label headphonesLabel, levelLabel, speakersLabel, headSetLabel, listenLabel;
    ChoiceBox headphonesBox;
    NumberField levelField;
    ChoiceBox speakersBox;
    ChoiceBox headSetBox;
    ChoiceBox listenBox;
    juce::TextButton closeButton {"Close"};
    FindingPanel finding {"What is applied"};
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
