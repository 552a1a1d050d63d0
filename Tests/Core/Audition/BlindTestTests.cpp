#include "Core/Audition/BlindStatistics.h"
#include "Core/Audition/BlindTest.h"
#include "Core/Dsp/RandomSource.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

using namespace saddletone;
using audition::BlindKind;
using audition::BlindSetup;
using audition::BlindTest;

namespace {

BlindSetup makeSetup(BlindKind kind, std::size_t numCandidates, std::uint64_t seed = 1)
{
    BlindSetup setup;
    setup.kind = kind;
    setup.seed = seed;
    for (std::size_t index = 0; index < numCandidates; ++index)
        setup.candidates.push_back({"Candidate " + std::to_string(index + 1), "state", {}, -0.5});
    return setup;
}

BlindTest begin(const BlindSetup& setup)
{
    auto started = BlindTest::start(setup);
    REQUIRE(started);
    return *std::move(started);
}

/** The candidate that X, or a place, stands for: what a listener with perfect ears would hear. */
std::size_t candidateAt(BlindTest& test, std::size_t place)
{
    test.listenTo(place);
    return test.candidateToPlay();
}

/** Answers the rest of a run; isRight says for each trial of ABX whether the answer is right. */
template <typename IsRight>
void answerAll(BlindTest& test, IsRight isRight)
{
    while (!test.isOver()) {
        const std::size_t a = candidateAt(test, 0);
        const bool xIsA = candidateAt(test, 2) == a;
        const bool saysA = isRight(test.numAnswered()) ? xIsA : !xIsA;
        REQUIRE(test.answer(saysA ? 0 : 1));
    }
}

} // namespace

TEST_CASE("The same seed gives the same order, another one another", "[core][audition][blind]")
{
    for (const BlindKind kind : {BlindKind::abx, BlindKind::preference}) {
        const auto first = audition::deriveBlindOrder(kind, 2, 25, 42);
        CHECK(first == audition::deriveBlindOrder(kind, 2, 25, 42));
        CHECK(first != audition::deriveBlindOrder(kind, 2, 25, 43));
        // A shorter run is the beginning of a longer one.
        const auto shorter = audition::deriveBlindOrder(kind, 2, 12, 42);
        CHECK(std::equal(shorter.begin(), shorter.end(), first.begin()));
    }
}

TEST_CASE("X is each candidate equally often and does not depend on what came before",
          "[core][audition][blind]")
{
    constexpr std::size_t numTrials = 25;
    constexpr std::size_t numRuns = 4000;
    std::size_t numFirst = 0;
    std::size_t numXIsA = 0;
    std::size_t numSame = 0;
    std::array<std::size_t, numTrials> atTrial {};
    for (std::uint64_t seed = 0; seed < numRuns; ++seed) {
        const auto order = audition::deriveBlindOrder(BlindKind::abx, 2, numTrials, seed);
        numFirst += order[0][0] == 0 ? 1U : 0U;
        for (std::size_t trial = 0; trial < numTrials; ++trial) {
            CHECK(order[trial][0] == order[0][0]);
            CHECK(order[trial][1] == 1 - order[0][0]);
            const bool xIsA = order[trial][2] == order[trial][0];
            numXIsA += xIsA ? 1U : 0U;
            atTrial[trial] += xIsA ? 1U : 0U;
            if (trial > 0)
                numSame += order[trial][2] == order[trial - 1][2] ? 1U : 0U;
        }
    }
    // Five standard deviations of a fair coin either way: one check in 1.7 million fails by chance.
    const auto isFair = [](std::size_t count, std::size_t numTosses) {
        const auto tosses = static_cast<double>(numTosses);
        return std::abs(static_cast<double>(count) - 0.5 * tosses) <= 2.5 * std::sqrt(tosses);
    };
    CHECK(isFair(numFirst, numRuns));
    CHECK(isFair(numXIsA, numRuns * numTrials));
    CHECK(isFair(numSame, numRuns * (numTrials - 1)));
    for (const std::size_t count : atTrial)
        CHECK(isFair(count, numRuns));
}

TEST_CASE("Every arrangement of the letters comes equally often", "[core][audition][blind]")
{
    std::map<std::vector<std::size_t>, std::size_t> counts;
    constexpr std::size_t numRuns = 4000;
    constexpr std::size_t numTrials = 12;
    for (std::uint64_t seed = 0; seed < numRuns; ++seed)
        for (const auto& order :
             audition::deriveBlindOrder(BlindKind::preference, 4, numTrials, seed))
            ++counts[order];
    REQUIRE(counts.size() == 24);
    const double expected = static_cast<double>(numRuns * numTrials) / 24.0;
    double chiSquare = 0.0;
    for (const auto& [order, count] : counts)
        chiSquare += std::pow(static_cast<double>(count) - expected, 2.0) / expected;
    // The 0.9999 quantile of chi-square with 23 degrees of freedom (scipy.stats.chi2.ppf).
    CHECK(chiSquare < 58.63);
}

TEST_CASE("A listener who hears the difference gets every trial right", "[core][audition][blind]")
{
    BlindTest test = begin(makeSetup(BlindKind::abx, 2, 7));
    answerAll(test, [](std::size_t) { return true; });
    REQUIRE(test.run() != nullptr);
    const auto finding = audition::findingOf(*test.run());
    REQUIRE(finding);
    CHECK(finding->numCorrect == 16);
    CHECK(finding->chance == Approx(std::exp2(-16.0)).epsilon(1e-12));
    CHECK(finding->isResult);
    CHECK(audition::hasOrderOfItsSeed(*test.run()));
}

TEST_CASE("Whoever guesses is taken to have heard no more often than once in twenty runs",
          "[core][audition][blind]")
{
    // 16 trials: guessing reaches the 12 it takes with 3.84 % (table abx_binomial.csv).
    dsp::RandomSource random(5);
    constexpr std::size_t numRuns = 4000;
    std::size_t numHeard = 0;
    for (std::uint64_t seed = 0; seed < numRuns; ++seed) {
        BlindTest test = begin(makeSetup(BlindKind::abx, 2, seed));
        answerAll(test, [&](std::size_t) { return random.nextUniform() < 0.5; });
        numHeard += audition::findingOf(*test.run())->isResult ? 1U : 0U;
    }
    const double share = static_cast<double>(numHeard) / static_cast<double>(numRuns);
    // Four standard deviations.
    CHECK(share == Approx(0.03841).margin(4.0 * std::sqrt(0.03841 * 0.96159 / numRuns)));
}

TEST_CASE("A preference without one is found no more often than chance says",
          "[core][audition][blind]")
{
    // Always the letter A: the letters are dealt anew, so that this is no choice at all.
    constexpr std::size_t numRuns = 4000;
    BlindSetup setup = makeSetup(BlindKind::preference, 3);
    std::size_t numPreferred = 0;
    for (std::uint64_t seed = 0; seed < numRuns; ++seed) {
        setup.seed = seed;
        BlindTest test = begin(setup);
        while (!test.isOver()) {
            for (std::size_t place = 0; place < 3; ++place)
                test.listenTo(place);
            REQUIRE(test.answer(0));
        }
        numPreferred += audition::findingOf(*test.run())->isResult ? 1U : 0U;
    }
    const auto needed = audition::fewestChosen(16, 3, audition::blindSignificance);
    const double chance = audition::largestCountChance(*needed, 16, 3);
    CHECK(static_cast<double>(numPreferred) / static_cast<double>(numRuns)
          == Approx(chance).margin(4.0 * std::sqrt(chance * (1.0 - chance) / numRuns)));
}

TEST_CASE("A preference goes by the candidate and not by its letter", "[core][audition][blind]")
{
    BlindTest test = begin(makeSetup(BlindKind::preference, 4, 3));
    while (!test.isOver()) {
        std::size_t liked = 0;
        for (std::size_t place = 0; place < 4; ++place)
            if (candidateAt(test, place) == 2)
                liked = place;
        REQUIRE(test.answer(liked));
    }
    const auto finding = audition::findingOf(*test.run());
    REQUIRE(finding);
    CHECK(finding->timesChosen == std::vector<std::size_t> {0, 0, 16, 0});
    CHECK(finding->mostChosen == std::size_t {2});
    CHECK(finding->isResult);
}

TEST_CASE("Two that share the lead are no result however rare that is", "[core][audition][blind]")
{
    audition::BlindRun run;
    run.kind = BlindKind::preference;
    run.numPlanned = 24;
    for (int index = 0; index < 8; ++index)
        run.candidates.push_back({"c", "s", {}, 0.0});
    for (std::size_t trial = 0; trial < 24; ++trial)
        run.trials.push_back({{0, 1, 2, 3, 4, 5, 6, 7}, trial % 2});
    REQUIRE(audition::checkBlindRun(run, "made up"));
    const auto finding = audition::findingOf(run);
    REQUIRE(finding);
    CHECK(finding->chance < 1e-3);
    CHECK_FALSE(finding->mostChosen.has_value());
    CHECK_FALSE(finding->isResult);
}

TEST_CASE("X must be heard before it can be named, and there is no way back",
          "[core][audition][blind]")
{
    BlindTest test = begin(makeSetup(BlindKind::abx, 2));
    CHECK(test.place() == 0);
    CHECK_FALSE(test.canAnswer());
    CHECK_FALSE(test.answer(0));
    test.listenTo(1);
    CHECK_FALSE(test.canAnswer());
    test.listenTo(2);
    test.listenTo(0);
    test.listenTo(2);
    CHECK(test.canAnswer());
    CHECK_FALSE(test.answer(2)); // X is no answer
    CHECK(test.answer(1));
    CHECK(test.numAnswered() == 1);
    // The next trial begins anew.
    CHECK(test.place() == 0);
    CHECK_FALSE(test.hasHeard(2));
    CHECK_FALSE(test.canAnswer());
    test.listenTo(99);
    CHECK(test.place() == 0);
}

TEST_CASE("Every letter must be heard before one is liked best", "[core][audition][blind]")
{
    BlindTest test = begin(makeSetup(BlindKind::preference, 5));
    CHECK(test.numPlaces() == 5);
    for (std::size_t place = 1; place < 5; ++place) {
        CHECK_FALSE(test.canAnswer());
        test.listenTo(place);
    }
    CHECK(test.canAnswer());
    CHECK(test.answer(3));
}

TEST_CASE("A run tells nothing before it is over", "[core][audition][blind]")
{
    BlindTest test = begin(makeSetup(BlindKind::abx, 2));
    for (std::size_t trial = 0; trial < test.numTrials(); ++trial) {
        CHECK(test.run() == nullptr);
        test.listenTo(2);
        REQUIRE(test.answer(0));
    }
    REQUIRE(test.run() != nullptr);
    CHECK(test.isOver());
    CHECK_FALSE(test.run()->isAbandoned);
    CHECK_FALSE(test.answer(0));
    const audition::BlindRun before = *test.run();
    test.listenTo(1);
    test.abandon();
    test.setProgrammePart(1.0, 2.0);
    CHECK(*test.run() == before);
}

TEST_CASE("An abandoned run keeps what was answered and has no result", "[core][audition][blind]")
{
    BlindTest test = begin(makeSetup(BlindKind::abx, 2, 9));
    for (int trial = 0; trial < 15; ++trial) {
        const std::size_t a = candidateAt(test, 0);
        REQUIRE(test.answer(candidateAt(test, 2) == a ? 0 : 1)); // all of them right
    }
    test.setProgrammePart(3.0, 17.5);
    test.abandon();
    REQUIRE(test.run() != nullptr);
    const audition::BlindRun& run = *test.run();
    CHECK(run.isAbandoned);
    CHECK(run.trials.size() == 15);
    CHECK(run.conditions.programmeFromSeconds == 3.0);
    CHECK(run.conditions.programmeToSeconds == 17.5);
    CHECK(audition::checkBlindRun(run, "it"));
    CHECK(audition::hasOrderOfItsSeed(run));
    CHECK_FALSE(audition::findingOf(run).has_value());
}

TEST_CASE("Gains of the loudness match are kept only where they were applied",
          "[core][audition][blind]")
{
    BlindSetup setup = makeSetup(BlindKind::abx, 2);
    BlindTest matched = begin(setup);
    matched.abandon();
    CHECK(matched.run()->candidates[1].matchGainDb == -0.5);
    setup.conditions.match = audition::LevelMatch::asOnTheBike;
    BlindTest unmatched = begin(setup);
    unmatched.abandon();
    CHECK(unmatched.run()->candidates[1].matchGainDb == 0.0);
}

TEST_CASE("What cannot be tested is refused with the reason", "[core][audition][blind]")
{
    const auto refusal = [](const BlindSetup& setup) {
        const auto started = BlindTest::start(setup);
        return started ? std::string() : started.error().message;
    };
    using Catch::Contains;
    CHECK_THAT(refusal(makeSetup(BlindKind::abx, 3)), Contains("two candidates, not 3"));
    CHECK_THAT(refusal(makeSetup(BlindKind::preference, 1)), Contains("2 to 8 candidates"));
    CHECK_THAT(refusal(makeSetup(BlindKind::preference, 9)), Contains("2 to 8 candidates"));
    for (const std::size_t numTrials : {11U, 26U}) {
        BlindSetup setup = makeSetup(BlindKind::abx, 2);
        setup.numTrials = numTrials;
        CHECK_THAT(refusal(setup), Contains("12 to 25 trials"));
    }
    BlindSetup setup = makeSetup(BlindKind::abx, 2, audition::blindSeedEnd);
    CHECK_THAT(refusal(setup), Contains("2^53"));
    setup.seed = 0;
    setup.conditions.monitor = audition::Monitor::untouched;
    CHECK_THAT(refusal(setup), Contains("not heard"));
}

TEST_CASE("A changed order does not pass for the one of its seed", "[core][audition][blind]")
{
    BlindTest test = begin(makeSetup(BlindKind::abx, 2, 11));
    answerAll(test, [](std::size_t) { return true; });
    audition::BlindRun run = *test.run();
    auto& order = run.trials[4].order;
    order[2] = 1 - order[2];
    CHECK(audition::checkBlindRun(run, "it"));
    CHECK_FALSE(audition::hasOrderOfItsSeed(run));
}
