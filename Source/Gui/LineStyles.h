#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <cstddef>

namespace saddletone::gui {

/** Strokes a thin curve in one of eight patterns of dashes that can be told apart without
    colour. */
void strokeDashed(juce::Graphics& g, const juce::Path& path, std::size_t index);

/** Fills an area with slanted lines, spacing pixels apart. */
void hatch(juce::Graphics& g, const juce::Path& area, float spacing);

} // namespace saddletone::gui
