#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/ChoiceBox.h"
#include "Gui/HeadphoneRow.h"
#include "Gui/LevelMeter.h"

#include <functional>

namespace saddletone::gui {

/** What is heard and how loud: monitor, level match, helmet, levels, ceiling, meter, bypass. */
class SoundPanel final : public juce::Component {
public:
    explicit SoundPanel(juce::AudioProcessorValueTreeState& parameters);

    /** Called when the user wants silence at once. */
    std::function<void()> onQuiet;

    void show(const AuditionSnapshot& snapshot)
    {
        meter.show(snapshot);
        headphones.show(snapshot);
        // None of these reaches a bike's own speakers.
        for (juce::Component* control : std::initializer_list<juce::Component*> {
                 &monitorBox, &helmetBox, &noiseSlider, &headphones})
            control->setEnabled(!snapshot.nowOnBike.has_value());
    }

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    /** A name and the control it belongs to. */
    struct Row {
        juce::Label* label;
        juce::Component* control;
        int height;
    };

    void
    addChoice(juce::AudioProcessorValueTreeState& parameters, juce::ComboBox& box,
              juce::Label& label, const char* id, const juce::String& name,
              const juce::String& description,
              std::unique_ptr<juce::AudioProcessorValueTreeState::ComboBoxAttachment>& attachment);
    void
    addLevel(juce::AudioProcessorValueTreeState& parameters, juce::Slider& slider,
             juce::Label& label, const char* id, const juce::String& name,
             const juce::String& description,
             std::unique_ptr<juce::AudioProcessorValueTreeState::SliderAttachment>& attachment);
    void addLabel(juce::Label& label, const juce::String& name);

    ChoiceBox monitorBox;
    ChoiceBox matchBox;
    ChoiceBox helmetBox;
    juce::Slider outputSlider;
    juce::Slider noiseSlider;
    juce::Slider ceilingSlider;
    juce::TextButton bypassButton {"Bypass (B)"};
    juce::TextButton quietButton {"Quiet (Esc)"};
    HeadphoneRow headphones;
    LevelMeter meter;
    juce::Label headphoneLabel, monitorLabel, matchLabel, helmetLabel, outputLabel, noiseLabel,
        ceilingLabel, meterLabel;

    std::unique_ptr<juce::AudioProcessorValueTreeState::ComboBoxAttachment> monitorAttachment,
        matchAttachment, helmetAttachment;
    std::unique_ptr<juce::AudioProcessorValueTreeState::SliderAttachment> outputAttachment,
        noiseAttachment, ceilingAttachment;
    std::unique_ptr<juce::AudioProcessorValueTreeState::ButtonAttachment> bypassAttachment;
};

} // namespace saddletone::gui
