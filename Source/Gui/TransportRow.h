#pragma once

#include "Gui/AuditionModel.h"

#include <functional>

namespace saddletone::gui {

/** Opens, plays and pauses the programme; in a host it says where the programme comes from. */
class TransportRow final : public juce::Component {
public:
    explicit TransportRow(AuditionModel& auditionModel);

    /** Called when the user wants to see the list of files, or no longer. */
    std::function<void()> onList;

    void show(const AuditionSnapshot& snapshot);
    /** Whether another programme may be chosen. */
    void setCanChoose(bool canChoose) { openButton.setEnabled(canChoose); }
    void setListIsOpen(bool isOpen);

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    void openMenu();
    void chooseFile();

    AuditionModel& model;
    PlayerView shown;
    std::shared_ptr<const JobView> job;
    juce::TextButton openButton {juce::String::fromUTF8("Programme\xe2\x80\xa6")};
    juce::TextButton playButton {"Play"};
    juce::TextButton loopButton {"Loop"};
    juce::TextButton listButton {"List"};
    juce::Slider positionSlider;
    juce::Rectangle<int> titleArea;
    juce::Rectangle<int> timeArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
