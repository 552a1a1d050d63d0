#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** Gives a field to type in the colours of the look it is drawn with. */
void colourField(juce::TextEditor& field);

} // namespace saddletone::gui
