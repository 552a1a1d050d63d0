#include "Gui/HoldButton.h"

#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

HoldButton::HoldButton(const juce::String& words, double secondsToHold)
    : juce::TextButton(words), holdSeconds(secondsToHold)
{
}

void HoldButton::advance(double nowSeconds)
{
    if (!keyIsDown && !isDown()) {
        heldSince.reset();
        hasActed = false;
    } else if (!heldSince) {
        heldSince = nowSeconds;
    }
    const double held = heldSince ? nowSeconds - *heldSince : 0.0;
    const auto newProportion = static_cast<float>(std::clamp(held / holdSeconds, 0.0, 1.0));
    if (newProportion != proportion) {
        proportion = newProportion;
        repaint();
    }
    if (held < holdSeconds || hasActed)
        return;
    hasActed = true;
    if (onHeld)
        onHeld();
}

void HoldButton::paintButton(juce::Graphics& g, bool isHighlighted, bool isDown)
{
    const Palette palette = paletteOf(*this);
    const auto area = getLocalBounds().toFloat().reduced(1.0F);
    const juce::Colour ink = drawPlate(g, palette, area, false, isHighlighted, isDown);
    if (proportion > 0.0F) {
        g.setColour(palette.accentLine);
        g.fillRoundedRectangle(area.reduced(4.0F).removeFromBottom(10.0F).withWidth(
                                   (area.getWidth() - 8.0F) * proportion),
                               4.0F);
    }
    drawWords(g, getButtonText(), textFont(16.0F), ink, getLocalBounds().reduced(8, 12),
              juce::Justification::centred);
}

} // namespace saddletone::gui
