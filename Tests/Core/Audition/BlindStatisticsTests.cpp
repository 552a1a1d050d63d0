#include "Core/Audition/BlindStatistics.h"
#include "Support/ReferenceTable.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <tuple>

using namespace saddletone;
using audition::fewestCorrect;
using audition::guessingChance;
using audition::largestCountChance;

namespace {

/** The chance by counting every one of numCandidates^numTrials sequences of choices. */
double countedChance(std::size_t largestCount, std::size_t numTrials, std::size_t numCandidates)
{
    std::size_t numSequences = 1;
    for (std::size_t trial = 0; trial < numTrials; ++trial)
        numSequences *= numCandidates;
    std::size_t numReaching = 0;
    for (std::size_t sequence = 0; sequence < numSequences; ++sequence) {
        std::array<std::size_t, 8> counts {};
        for (std::size_t rest = sequence, trial = 0; trial < numTrials; ++trial) {
            ++counts.at(rest % numCandidates);
            rest /= numCandidates;
        }
        numReaching += *std::ranges::max_element(counts) >= largestCount ? 1U : 0U;
    }
    return static_cast<double>(numReaching) / static_cast<double>(numSequences);
}

} // namespace

TEST_CASE("ABX chances and the counts they ask for are those of the binomial table",
          "[core][audition][blind]")
{
    // The table gives five decimals.
    const test::ReferenceTable table("abx_binomial.csv");
    REQUIRE(table.numRows() >= 20);
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        const auto numTrials = static_cast<std::size_t>(table.number(row, "trials"));
        INFO(numTrials << " trials");
        for (const auto& [limit, countColumn, chanceColumn] :
             {std::tuple {0.05, "min_correct_p_le_0.05", "p_at_0.05"},
              std::tuple {0.01, "min_correct_p_le_0.01", "p_at_0.01"}}) {
            const auto fewest = fewestCorrect(numTrials, limit);
            if (table.text(row, countColumn).empty()) {
                CHECK_FALSE(fewest.has_value());
                continue;
            }
            REQUIRE(fewest.has_value());
            CHECK(*fewest == static_cast<std::size_t>(table.number(row, countColumn)));
            CHECK(guessingChance(*fewest, numTrials)
                  == Approx(table.number(row, chanceColumn)).margin(5.1e-6));
        }
    }
}

TEST_CASE("Chances of guessing begin at certainty and end at all right", "[core][audition][blind]")
{
    for (const std::size_t numTrials : {1U, 12U, 25U, 1000U}) {
        CHECK(guessingChance(0, numTrials) == 1.0);
        CHECK(guessingChance(numTrials, numTrials)
              == Approx(std::exp2(-static_cast<double>(numTrials))).epsilon(1e-11));
        for (std::size_t count = 1; count <= numTrials; ++count)
            // Next to certainty the steps are below a double's.
            REQUIRE(guessingChance(count, numTrials) <= guessingChance(count - 1, numTrials));
    }
}

TEST_CASE("Chance of the most chosen candidate is that of counting all ways",
          "[core][audition][blind]")
{
    for (const auto& [numTrials, numCandidates] :
         {std::pair {12U, 2U}, std::pair {9U, 3U}, std::pair {7U, 5U}, std::pair {6U, 8U}})
        for (std::size_t count = 0; count <= numTrials; ++count) {
            INFO(count << " of " << numTrials << " among " << numCandidates);
            CHECK(largestCountChance(count, numTrials, numCandidates)
                  == Approx(countedChance(count, numTrials, numCandidates)).epsilon(1e-12));
        }
}

TEST_CASE("Between two candidates the chance of the most chosen is the two-sided binomial one",
          "[core][audition][blind]")
{
    for (const std::size_t numTrials : {12U, 16U, 25U})
        for (std::size_t count = numTrials / 2 + 1; count <= numTrials; ++count)
            CHECK(largestCountChance(count, numTrials, 2)
                  == Approx(2.0 * guessingChance(count, numTrials)).epsilon(1e-12));
}

TEST_CASE("A rare chance keeps its digits", "[core][audition][blind]")
{
    // All choices for one of eight: 8 * 8^-25, which 1 minus a sum could not tell from 0.
    CHECK(largestCountChance(25, 25, 8) == Approx(std::exp2(-72.0)).epsilon(1e-11));
    CHECK(guessingChance(1000, 1000) == Approx(std::exp2(-1000.0)).epsilon(1e-10));
}

TEST_CASE("More trials never ask for a smaller count, and twelve are enough for every number",
          "[core][audition][blind]")
{
    for (std::size_t numCandidates = 2; numCandidates <= 8; ++numCandidates) {
        std::size_t before = 0;
        for (std::size_t numTrials = 12; numTrials <= 25; ++numTrials) {
            const auto fewest =
                audition::fewestChosen(numTrials, numCandidates, audition::blindSignificance);
            REQUIRE(fewest.has_value());
            CHECK(*fewest >= before);
            CHECK(largestCountChance(*fewest, numTrials, numCandidates) <= 0.05);
            CHECK(largestCountChance(*fewest - 1, numTrials, numCandidates) > 0.05);
            before = *fewest;
        }
    }
}
