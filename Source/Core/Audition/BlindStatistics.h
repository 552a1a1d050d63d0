#pragma once

#include <cstddef>
#include <optional>

namespace saddletone::audition {

/** A result that guessing gives at most this often counts as one. The usual convention: of twenty
    runs of pure guessing one gets this far. */
inline constexpr double blindSignificance = 0.05;

/** How often someone who guesses between two gets at least numCorrect of numTrials right: the exact
    one-sided binomial tail at 1/2. numTrials 1 to 1000, numCorrect 0 to numTrials. */
[[nodiscard]] double guessingChance(std::size_t numCorrect, std::size_t numTrials);

/** Fewest right answers that guessing gives at most limitChance often; nothing if even a run
    without a mistake is not rare enough. */
[[nodiscard]] std::optional<std::size_t> fewestCorrect(std::size_t numTrials, double limitChance);

/** How often, where every choice among numCandidates is as likely as any other, some candidate is
    chosen at least largestCount times in numTrials: the exact distribution of the largest count of
    a uniform multinomial (what P. R. Freeman's algorithm AS 145 computes, Applied Statistics 28(3),
    1979). It is about the most chosen one, whichever that is, so nothing is to be added for having
    picked the best of several; with two candidates it is the two-sided binomial test. numCandidates
    2 to 8, numTrials 1 to 1000. */
[[nodiscard]] double largestCountChance(std::size_t largestCount, std::size_t numTrials,
                                        std::size_t numCandidates);

/** Fewest choices of one candidate that come about by chance at most limitChance often. */
[[nodiscard]] std::optional<std::size_t>
fewestChosen(std::size_t numTrials, std::size_t numCandidates, double limitChance);

} // namespace saddletone::audition
