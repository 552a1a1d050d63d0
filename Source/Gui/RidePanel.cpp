#include "Gui/RidePanel.h"

#include "Gui/Look.h"
#include "Gui/ParameterIds.h"
#include "Gui/RideWords.h"

#include <array>

namespace saddletone::gui {

RidePanel::RidePanel(juce::AudioProcessorValueTreeState& parameters)
{
    setTitle("Ride");
    addChoice(parameters, screenBox, screenLabel, parameterIds::screen, "Screen",
              "What stands between the head and the wind.", screenAttachment);
    addChoice(parameters, plugsBox, plugsLabel, parameterIds::earPlugs, "Ear plugs",
              "They take from music and noise alike. As often worn: looser than the label says.",
              plugsAttachment);
    addChoice(parameters, engineBox, engineLabel, parameterIds::engineNoise, "Engine",
              "When the engine is heard.", engineAttachment);
    volumeLabel.setText("Radio volume", juce::dontSendNotification);
    volumeLabel.setFont(textFont(15.0F));
    volumeLabel.setAccessible(false);
    addAndMakeVisible(volumeLabel);
    const juce::RangedAudioParameter* const volume =
        parameters.getParameter(parameterIds::radioVolumeDb);
    volumeSlider.setSliderStyle(juce::Slider::LinearHorizontal);
    volumeSlider.setTextBoxStyle(juce::Slider::TextBoxRight, false, 80, 28);
    volumeSlider.setTextValueSuffix(" " + volume->getLabel());
    volumeSlider.setWantsKeyboardFocus(true);
    addControl(*this, volumeSlider, volume->getName(64),
               "The radio's volume against where it stood when the bike was measured.");
    volumeAttachment = std::make_unique<juce::AudioProcessorValueTreeState::SliderAttachment>(
        parameters, parameterIds::radioVolumeDb, volumeSlider);

    addControl(*this, figuresButton, "Figures",
               "What the noise rests on: each figure with its status and source.");
    figuresButton.onClick = [this] { setShowsFigures(!showsFigures); };
    addControl(*this, closeButton, "Close", "Back to the curves.");
    closeButton.onClick = [this] {
        if (onClose)
            onClose();
    };
    addAndMakeVisible(finding);
    setShowsFigures(false);
}

void RidePanel::addChoice(juce::AudioProcessorValueTreeState& parameters, juce::ComboBox& box,
                          juce::Label& label, const char* id, const juce::String& name,
                          const juce::String& description,
                          std::unique_ptr<ChoiceAttachment>& attachment)
{
    label.setText(name, juce::dontSendNotification);
    label.setFont(textFont(15.0F));
    label.setAccessible(false); // the control itself carries the name
    addAndMakeVisible(label);
    box.addItemList(parameters.getParameter(id)->getAllValueStrings(), 1);
    addControl(*this, box, parameters.getParameter(id)->getName(64), description);
    attachment = std::make_unique<ChoiceAttachment>(parameters, id, box);
}

void RidePanel::setShowsFigures(bool shouldShowFigures)
{
    showsFigures = shouldShowFigures;
    figuresButton.setButtonText(showsFigures ? "What remains audible" : "What the noise rests on");
    show(shown);
}

void RidePanel::show(const AuditionSnapshot& snapshot)
{
    shown = snapshot;
    if (isVisible() || showsFigures)
        finding.show(showsFigures ? noiseFinding(shown) : roadFinding(shown));
    // Helmet, screen and engine are in a recording as they were.
    const bool isModelled = shown.ride.recorded == nullptr;
    screenBox.setEnabled(isModelled);
}

void RidePanel::paint(juce::Graphics& g)
{
    g.setColour(paletteOf(*this).panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
}

void RidePanel::lookAndFeelChanged()
{
    for (juce::Label* label : {&screenLabel, &plugsLabel, &engineLabel, &volumeLabel})
        label->setColour(juce::Label::textColourId, paletteOf(*this).text);
}

void RidePanel::resized()
{
    auto area = getLocalBounds().reduced(14, 12);
    auto controls = area.removeFromLeft(std::min(300, area.getWidth() / 2));
    area.removeFromLeft(16);
    finding.setBounds(area);

    auto buttons = controls.removeFromBottom(34);
    closeButton.setBounds(buttons.removeFromRight(80));
    buttons.removeFromRight(8);
    figuresButton.setBounds(buttons);
    controls.removeFromBottom(8);
    struct Row {
        juce::Label* label;
        juce::Component* control;
    };
    const std::array<Row, 4> rows {{{&screenLabel, &screenBox},
                                    {&plugsLabel, &plugsBox},
                                    {&engineLabel, &engineBox},
                                    {&volumeLabel, &volumeSlider}}};
    constexpr int rowHeight = 30;
    const int gap = std::clamp((controls.getHeight() - 4 * rowHeight) / 4, 2, 14);
    for (const Row& row : rows) {
        auto line = controls.removeFromTop(rowHeight);
        row.label->setBounds(line.removeFromLeft(126));
        row.control->setBounds(line);
        controls.removeFromTop(gap);
    }
}

} // namespace saddletone::gui
