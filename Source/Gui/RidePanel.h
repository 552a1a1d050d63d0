#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/ChoiceBox.h"
#include "Gui/FindingPanel.h"

#include <functional>

namespace saddletone::gui {

/** The ride in detail: screen, ear plugs, engine and the radio's volume, what of the music remains,
    and what the noise rests on. */
class RidePanel final : public juce::Component {
public:
    explicit RidePanel(juce::AudioProcessorValueTreeState& parameters);

    /** Called when the user has done with it. */
    std::function<void()> onClose;

    void show(const AuditionSnapshot& snapshot);
    /** Whether the figures behind the noise are shown in place of what remains. */
    void setShowsFigures(bool shouldShowFigures);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    using ChoiceAttachment = juce::AudioProcessorValueTreeState::ComboBoxAttachment;

    void addChoice(juce::AudioProcessorValueTreeState& parameters, juce::ComboBox& box,
                   juce::Label& label, const char* id, const juce::String& name,
                   const juce::String& description, std::unique_ptr<ChoiceAttachment>& attachment);

    ChoiceBox screenBox;
    ChoiceBox plugsBox;
    ChoiceBox engineBox;
    juce::Slider volumeSlider;
    juce::Label screenLabel, plugsLabel, engineLabel, volumeLabel;
    std::unique_ptr<ChoiceAttachment> screenAttachment, plugsAttachment, engineAttachment;
    std::unique_ptr<juce::AudioProcessorValueTreeState::SliderAttachment> volumeAttachment;
    juce::TextButton figuresButton;
    juce::TextButton closeButton {"Close"};
    FindingPanel finding {"What remains audible"};
    AuditionSnapshot shown;
    bool showsFigures = false;
};

} // namespace saddletone::gui
