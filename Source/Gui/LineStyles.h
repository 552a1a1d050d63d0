#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <cstddef>

namespace saddletone::gui {

/** Strokes a thin curve in one of eight patterns of dashes that can be told apart without
    colour. */
void strokeDashed(juce::Graphics& g, const juce::Path& path, std::size_t index);

/** The outline of such a curve, to be filled: what takes long of drawing it. */
[[nodiscard]] juce::Path dashedOutline(const juce::Path& path, std::size_t index);

/** Fills an area with slanted lines, spacing pixels apart. */
void hatch(juce::Graphics& g, const juce::Path& area, float spacing);

/** Slanted lines over a ground, drawn once for a rectangle and kept, for areas in it that are drawn
    again and again. The lines stay where they are, whatever the areas. */
class KeptHatching {
public:
    struct Style {
        float spacing = 10.0F; ///< Between lines along the horizontal, in pixels.
        juce::Colour ground;
        juce::Colour lines;

        bool operator==(const Style&) const = default;
    };

    /** Makes this the fill of a context. */
    void fillWith(juce::Graphics& g, juce::Rectangle<int> newRectangle, const Style& newStyle);

private:
    juce::Image image;
    juce::Rectangle<int> rectangle;
    Style style;
    float scale = 0.0F; ///< Of the image.
};

} // namespace saddletone::gui
