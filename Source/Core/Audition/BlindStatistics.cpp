#include "Core/Audition/BlindStatistics.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <vector>

namespace saddletone::audition {

namespace {

/** Binomial probabilities of up to numTrials trials. */
class Binomial {
public:
    explicit Binomial(std::size_t numTrials) : logFactorials(numTrials + 1, 0.0)
    {
        for (std::size_t n = 1; n <= numTrials; ++n)
            logFactorials[n] = logFactorials[n - 1] + std::log(static_cast<double>(n));
    }

    /** P(X = count); probability above 0, up to 1. */
    [[nodiscard]] double exactly(std::size_t count, std::size_t numTrials, double probability) const
    {
        if (probability >= 1.0)
            return count == numTrials ? 1.0 : 0.0;
        const std::size_t others = numTrials - count;
        return std::exp(logFactorials[numTrials] - logFactorials[count] - logFactorials[others]
                        + static_cast<double>(count) * std::log(probability)
                        + static_cast<double>(others) * std::log1p(-probability));
    }

    /** P(X >= count), summed from its small end so that no digit is lost. */
    [[nodiscard]] double atLeast(std::size_t count, std::size_t numTrials, double probability) const
    {
        if (count == 0)
            return 1.0;
        double sum = 0.0;
        for (std::size_t n = numTrials + 1; n-- > count;)
            sum += exactly(n, numTrials, probability);
        return std::min(1.0, sum);
    }

private:
    std::vector<double> logFactorials;
};

} // namespace

double guessingChance(std::size_t numCorrect, std::size_t numTrials)
{
    assert(numTrials > 0 && numCorrect <= numTrials);
    return Binomial(numTrials).atLeast(numCorrect, numTrials, 0.5);
}

std::optional<std::size_t> fewestCorrect(std::size_t numTrials, double limitChance)
{
    for (std::size_t count = 0; count <= numTrials; ++count)
        if (guessingChance(count, numTrials) <= limitChance)
            return count;
    return std::nullopt;
}

double largestCountChance(std::size_t largestCount, std::size_t numTrials,
                          std::size_t numCandidates)
{
    assert(numTrials > 0 && numCandidates > 1 && largestCount <= numTrials);
    if (largestCount == 0)
        return 1.0;
    // Candidate by candidate: given what the ones before took, the next takes a binomial share of
    // the rest. Kept are the ways on which nobody has reached largestCount yet; what leaves them
    // adds up to the answer, all of it positive.
    const Binomial binomial(numTrials);
    std::vector<double> below(numTrials + 1, 0.0); // by the number of trials used up
    below[0] = 1.0;
    double reached = 0.0;
    for (std::size_t candidate = 0; candidate < numCandidates; ++candidate) {
        const double share = 1.0 / static_cast<double>(numCandidates - candidate);
        std::vector<double> next(numTrials + 1, 0.0);
        for (std::size_t used = 0; used <= numTrials; ++used) {
            if (below[used] <= 0.0)
                continue;
            const std::size_t left = numTrials - used;
            if (left >= largestCount)
                reached += below[used] * binomial.atLeast(largestCount, left, share);
            for (std::size_t count = 0; count <= std::min(left, largestCount - 1); ++count)
                next[used + count] += below[used] * binomial.exactly(count, left, share);
        }
        below = std::move(next);
    }
    return std::min(1.0, reached);
}

std::optional<std::size_t> fewestChosen(std::size_t numTrials, std::size_t numCandidates,
                                        double limitChance)
{
    for (std::size_t count = 0; count <= numTrials; ++count)
        if (largestCountChance(count, numTrials, numCandidates) <= limitChance)
            return count;
    return std::nullopt;
}

} // namespace saddletone::audition
