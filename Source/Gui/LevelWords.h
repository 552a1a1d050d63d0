#pragma once

#include "Gui/AuditionModel.h"

namespace saddletone::gui {

/** The levels of the audition as one line of text, with what each figure rests on. */
[[nodiscard]] juce::String levelWords(const AuditionSnapshot& snapshot);

/** The A-weighted level at the ear: "74 dB(A)", "silent". */
[[nodiscard]] juce::String earLevelText(double levelDba);

/** Level and dose at the ear in few words: "74 dB(A), dose 3 %"; empty where the level is not known. */
[[nodiscard]] juce::String earLevelWords(const AuditionSnapshot& snapshot);

/** "71 dB(A) on average over 12:30, 3 % of a day by NIOSH (guidance)"; "nothing yet". */
[[nodiscard]] juce::String exposureWords(const hearing::SessionExposure& exposure);

/** Minutes and seconds: "3:07". */
[[nodiscard]] juce::String timeWords(double seconds);

/** The line that is always in sight. */
[[nodiscard]] juce::String safetyWords();

/** The same where the bike's own speakers are listened to. */
[[nodiscard]] juce::String onThisBikeSafetyWords();

/** The same where test signals are played. */
[[nodiscard]] juce::String benchSafetyWords();

/** What a first-time user is told before anything is played. */
[[nodiscard]] juce::String firstStartWords();

} // namespace saddletone::gui
