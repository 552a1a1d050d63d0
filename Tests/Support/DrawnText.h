#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <vector>

namespace saddletone::test {

/** Words of one size on one line, as they were drawn. */
struct DrawnText {
    juce::String words;
    juce::Rectangle<float> area; ///< Around the ink, in logical pixels of what was drawn.
    double contrast = 21.0;      ///< Against what was there before; a quarter of it may be worse.
    float emPixels = 0.0F;       ///< Height of the em square, in logical pixels.
    bool isSqueezed = false;     ///< Made narrower than the font is, to fit.
    bool isCut = false;          ///< Part of the ink lies outside of what may be drawn on there.
    bool hasMissingSign = false; ///< The font has no shape for one of its characters.
    bool isCovered = false;      ///< Something was drawn over it afterwards.

    /** Whether it ends as JUCE or drawWords() end what does not fit. */
    [[nodiscard]] bool isShortened() const;
};

/** All text that a component and what is in it draw, and where it is drawn.

    scale: physical pixels for a logical one. Text in a component that is half transparent is left
    out. */
[[nodiscard]] std::vector<DrawnText> drawnText(juce::Component& component, float scale);

} // namespace saddletone::test
