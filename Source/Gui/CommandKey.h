#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** What stands before a letter in the words for a key. */
#if JUCE_MAC
inline constexpr const char* commandKeyName = "Cmd+";
#else
inline constexpr const char* commandKeyName = "Ctrl+";
#endif

/** Whether a key is that of a small letter, with whatever modifiers. */
[[nodiscard]] inline bool isLetterKey(const juce::KeyPress& key, char letter)
{
    return juce::CharacterFunctions::toLowerCase(static_cast<juce::juce_wchar>(key.getKeyCode()))
           == static_cast<juce::juce_wchar>(letter);
}

} // namespace saddletone::gui
