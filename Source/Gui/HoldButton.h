#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <optional>

namespace saddletone::gui {

/** A button that does nothing when it is pressed, and something when it is held for a while. It fills
    from the left meanwhile. */
class HoldButton final : public juce::TextButton {
public:
    HoldButton(const juce::String& words, double secondsToHold);

    /** Called once for each time it has been held long enough. */
    std::function<void()> onHeld;

    /** Whether the key that stands for it is down. */
    void setKeyIsDown(bool isDown) { keyIsDown = isDown; }
    /** Goes on to now, by a clock that never goes back; expects to be called several times a second.
     */
    void advance(double nowSeconds);

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override;

private:
    const double holdSeconds;
    bool keyIsDown = false;
    std::optional<double> heldSince;
    bool hasActed = false;
    float proportion = 0.0F;
};

} // namespace saddletone::gui
