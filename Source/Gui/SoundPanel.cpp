#include "Gui/SoundPanel.h"

#include "Gui/Look.h"
#include "Gui/ParameterIds.h"

#include <array>

namespace saddletone::gui {

SoundPanel::SoundPanel(juce::AudioProcessorValueTreeState& parameters) : headphones(parameters)
{
    setTitle("Sound");
    addChoice(parameters, monitorBox, monitorLabel, parameterIds::monitor, "Hear",
              "Whether music, ride noise or both are heard.", monitorAttachment);
    addChoice(parameters, matchBox, matchLabel, parameterIds::levelMatch, "Levels",
              "Whether candidates keep their differences in level or are equally loud.",
              matchAttachment);
    addChoice(parameters, helmetBox, helmetLabel, parameterIds::helmet, "Helmet",
              "What the rider wears on the head.", helmetAttachment);
    addLevel(parameters, outputSlider, outputLabel, parameterIds::outputLevelDb, "Output",
             "Level to the headphones.", outputAttachment);
    addLevel(parameters, noiseSlider, noiseLabel, parameterIds::noiseTrimDb, "Ride noise",
             "Ride noise against the road; 0 is as on the road.", noiseAttachment);
    addLevel(parameters, ceilingSlider, ceilingLabel, parameterIds::ceilingDbfs, "Ceiling",
             "No true peak to the headphones passes this level.", ceilingAttachment);
    addLabel(headphoneLabel, "At the ear");
    addAndMakeVisible(headphones);
    addLabel(meterLabel, "To ears");
    addAndMakeVisible(meter);

    bypassButton.setClickingTogglesState(true);
    bypassButton.setTitle("Bypass");
    bypassButton.setDescription("The music without bike and noise, at the level of the audition.");
    bypassAttachment = std::make_unique<juce::AudioProcessorValueTreeState::ButtonAttachment>(
        parameters, parameterIds::bypass, bypassButton);
    const auto nameBypass = [this] {
        bypassButton.setButtonText(bypassButton.getToggleState() ? "Bypass is on (B)"
                                                                 : "Bypass (B)");
    };
    bypassButton.onStateChange = nameBypass;
    nameBypass();
    quietButton.setTitle("Quiet");
    quietButton.setDescription("Turns the output down at once and pauses.");
    quietButton.onClick = [this] {
        if (onQuiet)
            onQuiet();
    };
    for (juce::TextButton* button : {&bypassButton, &quietButton}) {
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addAndMakeVisible(*button);
    }
}

void SoundPanel::addLabel(juce::Label& label, const juce::String& name)
{
    label.setText(name, juce::dontSendNotification);
    label.setFont(textFont(15.0F));
    label.setAccessible(false); // the control itself carries the name
    addAndMakeVisible(label);
}

void SoundPanel::addChoice(
    juce::AudioProcessorValueTreeState& parameters, juce::ComboBox& box, juce::Label& label,
    const char* id, const juce::String& name, const juce::String& description,
    std::unique_ptr<juce::AudioProcessorValueTreeState::ComboBoxAttachment>& attachment)
{
    addLabel(label, name);
    box.addItemList(parameters.getParameter(id)->getAllValueStrings(), 1);
    box.setTitle(parameters.getParameter(id)->getName(64));
    box.setDescription(description);
    box.setTooltip(description);
    box.setMouseClickGrabsKeyboardFocus(false);
    box.setHasFocusOutline(true);
    addAndMakeVisible(box);
    attachment = std::make_unique<juce::AudioProcessorValueTreeState::ComboBoxAttachment>(
        parameters, id, box);
}

void SoundPanel::addLevel(
    juce::AudioProcessorValueTreeState& parameters, juce::Slider& slider, juce::Label& label,
    const char* id, const juce::String& name, const juce::String& description,
    std::unique_ptr<juce::AudioProcessorValueTreeState::SliderAttachment>& attachment)
{
    addLabel(label, name);
    const juce::RangedAudioParameter* const parameter = parameters.getParameter(id);
    slider.setSliderStyle(juce::Slider::LinearHorizontal);
    slider.setTextBoxStyle(juce::Slider::TextBoxRight, false, 96, 28);
    slider.setTextValueSuffix(" " + parameter->getLabel());
    slider.setTitle(parameter->getName(64));
    slider.setDescription(description);
    slider.setTooltip(description);
    slider.setWantsKeyboardFocus(true);
    slider.setMouseClickGrabsKeyboardFocus(false);
    slider.setHasFocusOutline(true);
    addAndMakeVisible(slider);
    attachment = std::make_unique<juce::AudioProcessorValueTreeState::SliderAttachment>(parameters,
                                                                                        id, slider);
}

void SoundPanel::paint(juce::Graphics& g)
{
    g.setColour(paletteOf(*this).panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
}

void SoundPanel::lookAndFeelChanged()
{
    const juce::Colour text = paletteOf(*this).text;
    for (juce::Label* label : {&monitorLabel, &matchLabel, &helmetLabel, &outputLabel, &noiseLabel,
                               &ceilingLabel, &headphoneLabel, &meterLabel})
        label->setColour(juce::Label::textColourId, text);
}

void SoundPanel::resized()
{
    auto area = getLocalBounds().reduced(12, 10);
    constexpr int labelWidth = 92;
    // The lowest window has room for flat rows only.
    const int flat = area.getHeight() < 340 ? 28 : 30;
    const std::array<Row, 8> rows {{{&monitorLabel, &monitorBox, flat},
                                    {&matchLabel, &matchBox, flat},
                                    {&helmetLabel, &helmetBox, flat},
                                    {&outputLabel, &outputSlider, flat},
                                    {&noiseLabel, &noiseSlider, flat},
                                    {&ceilingLabel, &ceilingSlider, flat},
                                    {&headphoneLabel, &headphones, flat},
                                    {&meterLabel, &meter, 44}}};
    constexpr int buttonHeight = 36;
    int used = buttonHeight;
    for (const Row& row : rows)
        used += row.height;
    const int gap = std::clamp((area.getHeight() - used) / static_cast<int>(rows.size()), 2, 16);
    for (const Row& row : rows) {
        auto line = area.removeFromTop(row.height);
        row.label->setBounds(line.removeFromLeft(labelWidth));
        row.control->setBounds(line);
        area.removeFromTop(gap);
    }
    auto buttons = area.removeFromTop(buttonHeight);
    bypassButton.setBounds(buttons.removeFromLeft(buttons.getWidth() / 2 - 4));
    quietButton.setBounds(buttons.withTrimmedLeft(8));
}

} // namespace saddletone::gui
