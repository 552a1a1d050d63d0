#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** Tab where a focus container has the keyboard itself: goes to the first control in it, with Shift
    to the last. JUCE would look beside the container, where there is nothing. False: it is another
    key, something in the container has the keyboard already, or nothing there takes it. */
bool tabInto(juce::Component& container, const juce::KeyPress& key);

} // namespace saddletone::gui
