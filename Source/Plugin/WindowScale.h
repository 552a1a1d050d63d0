#pragma once

#include <juce_graphics/juce_graphics.h>

namespace saddletone::plugin {

/** Where the app's window stands once everything is drawn at another scale, or at its first size: in
    the middle of the display, as large as it was as far as there is room, and never smaller than its
    smallest. All in logical pixels of the new scale.

    JUCE alone leaves the window its size on the display, which at twice the scale is half of what the
    screens are laid out for. displayArea: without what the desktop keeps for itself. frame: of the
    desktop around the window. */
[[nodiscard]] juce::Rectangle<int> placeAtScale(juce::Point<int> wantedSize,
                                                juce::Rectangle<int> displayArea,
                                                juce::BorderSize<int> frame);

} // namespace saddletone::plugin
