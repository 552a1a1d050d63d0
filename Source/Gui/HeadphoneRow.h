#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/NumberField.h"

namespace saddletone::gui {

/** What the headphones make of full scale, where somebody has measured it, and the highest level at
    the ear, which can be kept only then. */
class HeadphoneRow final : public juce::Component {
public:
    explicit HeadphoneRow(juce::AudioProcessorValueTreeState& parameters);

    void show(const AuditionSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    NumberField splField;
    NumberField ceilingField;
    bool isKnown = false;
    juce::Rectangle<int> wordsArea;
};

} // namespace saddletone::gui
