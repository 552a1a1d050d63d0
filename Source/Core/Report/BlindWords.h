#pragma once

#include "Core/Audition/BlindTest.h"
#include "Core/Report/SpeedUnits.h"

#include <string>
#include <vector>

namespace saddletone::report {

/** "p = 0.011"; at the ends "p < 0.0001" and "p > 0.99". */
[[nodiscard]] std::string blindChanceText(double chance);

/** "about once in 94 runs", "in about 40 of 100 runs". */
[[nodiscard]] std::string blindChanceWords(double chance);

/** What was asked: "Can the two be told apart? (ABX)", "Which of the 3 is liked best?" */
[[nodiscard]] std::string blindQuestion(const audition::BlindRun& run);

/** "equal loudness" or "as loud as on the bike". */
[[nodiscard]] std::string matchWords(audition::LevelMatch match);

/** Everything that held during a run, in one line. */
[[nodiscard]] std::string conditionWords(const audition::BlindConditions& conditions,
                                         SpeedUnits units = SpeedUnits::both);

/** The same of a run that is over: which candidates had their distortion as well. */
[[nodiscard]] std::string conditionWords(const audition::BlindRun& run,
                                         SpeedUnits units = SpeedUnits::both);

/** The outcome to the listener in a few words; of an abandoned run only that it was abandoned. */
[[nodiscard]] std::string blindHeadline(const audition::BlindRun& run);

/** What the outcome rests on, how far it goes and what it does not say. */
[[nodiscard]] std::vector<std::string> blindSentences(const audition::BlindRun& run);

/** The outcome in one line for a table. */
[[nodiscard]] std::string blindOutcome(const audition::BlindRun& run);

/** How many right answers, or choices of one candidate, a run would need to count. */
[[nodiscard]] std::string blindNeedWords(audition::BlindKind kind, std::size_t numCandidates,
                                         std::size_t numTrials);

} // namespace saddletone::report
