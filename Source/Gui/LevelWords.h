#pragma once

#include "Gui/AuditionModel.h"

namespace saddletone::gui {

/** The levels of the audition as one line of text, with what each figure rests on. */
[[nodiscard]] juce::String levelWords(const AuditionSnapshot& snapshot);

/** Minutes and seconds: "3:07". */
[[nodiscard]] juce::String timeWords(double seconds);

/** The line that is always in sight. */
[[nodiscard]] juce::String safetyWords();

/** The same where test signals are played. */
[[nodiscard]] juce::String benchSafetyWords();

/** What a first-time user is told before anything is played. */
[[nodiscard]] juce::String firstStartWords();

} // namespace saddletone::gui
