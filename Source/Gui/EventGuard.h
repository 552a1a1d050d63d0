#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/LevelMeter.h"

namespace saddletone::gui {

/** How loud it is for a listener at an event: at the ear now and so far, and what it is kept below,
    where the headphones are calibrated; elsewhere that they are not, and the digital ceiling. */
class EventGuard final : public juce::Component {
public:
    EventGuard();

    /** exposure: of this listener. */
    void show(const AuditionSnapshot& snapshot, const hearing::SessionExposure& exposure);

    [[nodiscard]] const juce::String& headline() const noexcept { return heading; }
    [[nodiscard]] const juce::String& details() const noexcept { return words; }

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    LevelMeter meter;
    juce::String heading;
    juce::String words;
};

} // namespace saddletone::gui
