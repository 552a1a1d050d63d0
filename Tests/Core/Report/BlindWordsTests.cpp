#include "Core/Report/BlindWords.h"

#include <catch2/catch.hpp>

#include <algorithm>

using namespace saddletone;
using audition::BlindKind;
using audition::BlindRun;
using Catch::Contains;

namespace {

BlindRun abxRun(std::size_t numRight, std::size_t numTrials = 16)
{
    BlindRun run;
    run.numPlanned = numTrials;
    run.candidates = {{"One", "s", {}, 0.0}, {"Two", "s", {}, 0.0}};
    for (std::size_t trial = 0; trial < numTrials; ++trial)
        run.trials.push_back({{0, 1, 1}, trial < numRight ? std::size_t {1} : std::size_t {0}});
    return run;
}

BlindRun preferenceRun(const std::vector<std::size_t>& timesChosen)
{
    BlindRun run;
    run.kind = BlindKind::preference;
    std::vector<std::size_t> order;
    for (std::size_t index = 0; index < timesChosen.size(); ++index) {
        run.candidates.push_back({"Tuning " + std::to_string(index + 1), "s", {}, 0.0});
        order.push_back(index);
    }
    for (std::size_t index = 0; index < timesChosen.size(); ++index)
        for (std::size_t count = 0; count < timesChosen[index]; ++count)
            run.trials.push_back({order, index});
    run.numPlanned = run.trials.size();
    return run;
}

std::string allOf(const BlindRun& run)
{
    std::string words = report::blindHeadline(run);
    for (const std::string& sentence : report::blindSentences(run))
        words += " " + sentence;
    return words;
}

} // namespace

TEST_CASE("A difference that was heard is called that, with its chance", "[core][report][blind]")
{
    const std::string words = allOf(abxRun(13));
    CHECK_THAT(words, Contains("You heard the difference.") && Contains("13 of 16 answers")
                          && Contains("about once in 94 runs (p = 0.011)")
                          && Contains("this listener") && !Contains("not matched"));
}

TEST_CASE("Too few right answers say nothing, and never that two sound the same",
          "[core][report][blind]")
{
    for (const std::size_t numRight : {8U, 11U}) {
        const std::string words = allOf(abxRun(numRight));
        CHECK_THAT(words, Contains("This result says nothing either way.")
                              && Contains("12 right ones count as heard")
                              && Contains("does not show that the two sound the same")
                              && !Contains("You heard") && !Contains("mixed"));
    }
    CHECK_THAT(allOf(abxRun(8)), Contains("in about 60 of 100 runs (p = 0.60)"));
}

TEST_CASE("Hardly any right answer is no result but worth a word", "[core][report][blind]")
{
    const std::string words = allOf(abxRun(2));
    CHECK_THAT(words, Contains("says nothing either way") && Contains("taken for each other"));
    CHECK_THAT(allOf(abxRun(5)), !Contains("taken for each other"));
}

TEST_CASE("A result at unmatched loudness says what else it may be", "[core][report][blind]")
{
    BlindRun run = abxRun(16);
    run.conditions.match = audition::LevelMatch::asOnTheBike;
    CHECK_THAT(allOf(run), Contains("only a difference in level"));
    run = preferenceRun({14, 1, 1});
    run.conditions.match = audition::LevelMatch::asOnTheBike;
    CHECK_THAT(allOf(run), Contains("only liked for its level"));
}

TEST_CASE("The candidate that was liked best is named with the chance of any",
          "[core][report][blind]")
{
    const std::string words = allOf(preferenceRun({2, 13, 1}));
    CHECK_THAT(words, Contains("You like 'Tuning 2' best.")
                          && Contains("'Tuning 2' 13 times, 'Tuning 1' 2 times, 'Tuning 3' once")
                          && Contains("one of them would be chosen 13 times or more"));
    // Two cannot both reach 13 of 16, so this is three times the binomial tail at 1/3.
    CHECK(report::blindOutcome(preferenceRun({2, 13, 1}))
          == "'Tuning 2' was liked best: 13 of 16 (p = 0.00035).");
}

TEST_CASE("Preferences without a winner say nothing either way", "[core][report][blind]")
{
    CHECK_THAT(allOf(preferenceRun({6, 5, 5})), Contains("says nothing either way")
                                                    && Contains("does not show that they are "
                                                                "equally good")
                                                    && !Contains("You like"));
    CHECK_THAT(allOf(preferenceRun({8, 8, 0, 0, 0, 0, 0, 0})),
               Contains("says nothing either way") && Contains("none stands out"));
}

TEST_CASE("An abandoned run has neither count nor chance in its words", "[core][report][blind]")
{
    BlindRun run = abxRun(16);
    run.trials.resize(13);
    run.isAbandoned = true;
    const std::string words = allOf(run) + " " + report::blindOutcome(run);
    CHECK_THAT(words, Contains("Abandoned after 13 of 16 trials: no result.") && !Contains("p =")
                          && !Contains("right") && !Contains("heard"));
}

TEST_CASE("Chances are written with two digits that count", "[core][report][blind]")
{
    CHECK(report::blindChanceText(0.0384) == "p = 0.038");
    CHECK(report::blindChanceText(0.40181) == "p = 0.40");
    CHECK(report::blindChanceText(0.00259) == "p = 0.0026");
    CHECK(report::blindChanceText(0.9979) == "p > 0.99");
    CHECK(report::blindChanceText(1.5e-5) == "p < 0.0001");
    CHECK(report::blindChanceWords(1.5e-5) == "less than once in 1000 runs");
    CHECK(report::blindChanceWords(0.0106) == "about once in 94 runs");
    CHECK(report::blindChanceWords(1.0) == "nearly always");
    // As many as the table abx_binomial.csv asks for.
    CHECK_THAT(report::blindNeedWords(BlindKind::abx, 2, 20), Contains("15 right ones"));
    CHECK_THAT(report::blindNeedWords(BlindKind::abx, 2, 25), Contains("18 right ones"));
}
