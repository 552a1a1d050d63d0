#include "Core/Audition/BlindTest.h"

#include "Core/Audition/BlindStatistics.h"
#include "Core/Dsp/RandomSource.h"

#include <algorithm>
#include <cassert>
#include <limits>
#include <numeric>
#include <utility>

namespace saddletone::audition {

namespace {

constexpr std::size_t numAbxCandidates = 2;
constexpr std::size_t numAbxPlaces = 3;
constexpr std::size_t placeX = 2;

/** Uniform below bound, without the bias of a plain remainder. */
std::size_t drawBelow(dsp::RandomSource& random, std::size_t bound)
{
    const auto wide = static_cast<std::uint64_t>(bound);
    constexpr std::uint64_t highest = std::numeric_limits<std::uint64_t>::max();
    // 2^64 mod n numbers at the top belong to no whole multiple.
    const std::uint64_t surplus = (highest % wide + 1) % wide;
    std::uint64_t bits = random.nextBits();
    while (bits > highest - surplus)
        bits = random.nextBits();
    return static_cast<std::size_t>(bits % wide);
}

std::size_t numPlacesOf(BlindKind kind, std::size_t numCandidates)
{
    return kind == BlindKind::abx ? numAbxPlaces : numCandidates;
}

bool isOrder(BlindKind kind, std::size_t numCandidates, std::vector<std::size_t> order)
{
    if (order.size() != numPlacesOf(kind, numCandidates))
        return false;
    if (kind == BlindKind::abx) {
        if (order[placeX] >= numAbxCandidates)
            return false;
        order.resize(numAbxCandidates);
    }
    std::ranges::sort(order);
    for (std::size_t index = 0; index < order.size(); ++index)
        if (order[index] != index)
            return false;
    return true;
}

dsp::Result<void> checkPlan(BlindKind kind, std::size_t numCandidates, std::size_t numTrials,
                            std::uint64_t seed, std::string_view source)
{
    const auto refuse = [&](const std::string& reason) {
        return dsp::fail(dsp::ErrorCode::outOfRange, std::string(source) + ": " + reason);
    };
    if (kind == BlindKind::abx && numCandidates != numAbxCandidates)
        return refuse("an ABX test is about two candidates, not " + std::to_string(numCandidates));
    if (numCandidates < 2 || numCandidates > maxCandidates)
        return refuse("a blind test is about 2 to " + std::to_string(maxCandidates)
                      + " candidates, not " + std::to_string(numCandidates));
    if (numTrials < fewestBlindTrials || numTrials > mostBlindTrials)
        return refuse("a blind test has " + std::to_string(fewestBlindTrials) + " to "
                      + std::to_string(mostBlindTrials) + " trials, not "
                      + std::to_string(numTrials));
    if (seed >= blindSeedEnd)
        return refuse("the seed must be below 2^53");
    return {};
}

} // namespace

std::vector<std::vector<std::size_t>> deriveBlindOrder(BlindKind kind, std::size_t numCandidates,
                                                       std::size_t numTrials, std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    std::vector<std::vector<std::size_t>> trials;
    if (kind == BlindKind::abx) {
        const std::size_t first = drawBelow(random, numAbxCandidates);
        const std::vector<std::size_t> named {first, 1 - first};
        for (std::size_t trial = 0; trial < numTrials; ++trial)
            trials.push_back({named[0], named[1], named[drawBelow(random, numAbxCandidates)]});
        return trials;
    }
    for (std::size_t trial = 0; trial < numTrials; ++trial) {
        std::vector<std::size_t> order(numCandidates);
        std::iota(order.begin(), order.end(), std::size_t {0});
        for (std::size_t place = numCandidates; place-- > 1;)
            std::swap(order[place], order[drawBelow(random, place + 1)]);
        trials.push_back(std::move(order));
    }
    return trials;
}

bool hasOrderOfItsSeed(const BlindRun& run)
{
    const auto derived =
        deriveBlindOrder(run.kind, run.candidates.size(), run.trials.size(), run.seed);
    return std::ranges::equal(run.trials, derived, {}, &BlindTrial::order);
}

dsp::Result<void> checkBlindRun(const BlindRun& run, std::string_view source)
{
    if (const auto planned =
            checkPlan(run.kind, run.candidates.size(), run.numPlanned, run.seed, source);
        !planned)
        return planned;
    const auto refuse = [&](const std::string& reason) {
        return dsp::fail(dsp::ErrorCode::malformed, std::string(source) + ": " + reason);
    };
    const bool isWhole = run.trials.size() == run.numPlanned;
    if (run.trials.size() > run.numPlanned || isWhole == run.isAbandoned)
        return refuse("has " + std::to_string(run.trials.size()) + " answers to "
                      + std::to_string(run.numPlanned) + " trials, which does not fit "
                      + (run.isAbandoned ? "an abandoned run" : "a complete run"));
    const std::size_t numAnswers =
        run.kind == BlindKind::abx ? numAbxCandidates : run.candidates.size();
    for (std::size_t index = 0; index < run.trials.size(); ++index) {
        const BlindTrial& trial = run.trials[index];
        if (!isOrder(run.kind, run.candidates.size(), trial.order) || trial.answer >= numAnswers)
            return refuse("trial " + std::to_string(index + 1)
                          + " has an order or an answer that cannot be");
    }
    return {};
}

std::optional<BlindFinding> findingOf(const BlindRun& run)
{
    if (run.isAbandoned || run.trials.empty())
        return std::nullopt;
    BlindFinding finding;
    if (run.kind == BlindKind::abx) {
        for (const BlindTrial& trial : run.trials)
            finding.numCorrect += trial.order[trial.answer] == trial.order[placeX] ? 1U : 0U;
        finding.chance = guessingChance(finding.numCorrect, run.trials.size());
        finding.isResult = finding.chance <= blindSignificance;
        return finding;
    }
    finding.timesChosen.assign(run.candidates.size(), 0);
    for (const BlindTrial& trial : run.trials)
        ++finding.timesChosen[trial.order[trial.answer]];
    const auto most = std::ranges::max_element(finding.timesChosen);
    if (std::ranges::count(finding.timesChosen, *most) == 1)
        finding.mostChosen = static_cast<std::size_t>(most - finding.timesChosen.begin());
    finding.chance = largestCountChance(*most, run.trials.size(), run.candidates.size());
    finding.isResult = finding.mostChosen.has_value() && finding.chance <= blindSignificance;
    return finding;
}

char blindLetter(BlindKind kind, std::size_t place) noexcept
{
    if (kind == BlindKind::abx && place == placeX)
        return 'X';
    return static_cast<char>('A' + place);
}

dsp::Result<BlindTest> BlindTest::start(BlindSetup setup)
{
    if (const auto checked = checkPlan(setup.kind, setup.candidates.size(), setup.numTrials,
                                       setup.seed, "blind test");
        !checked)
        return dsp::fail(checked.error().code, checked.error().message);
    if (setup.conditions.monitor != Monitor::programmeAndNoise
        && setup.conditions.monitor != Monitor::programmeOnly)
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "blind test: the candidates are not heard; have the music played through "
                         "the bike");
    return BlindTest(std::move(setup));
}

BlindTest::BlindTest(BlindSetup setup)
    : order(deriveBlindOrder(setup.kind, setup.candidates.size(), setup.numTrials, setup.seed))
{
    held.kind = setup.kind;
    held.numPlanned = setup.numTrials;
    held.seed = setup.seed;
    held.startedAt = std::move(setup.startedAt);
    held.candidates = std::move(setup.candidates);
    held.conditions = std::move(setup.conditions);
    if (held.conditions.match != LevelMatch::equalLoudness)
        for (BlindCandidate& candidate : held.candidates)
            candidate.matchGainDb = 0.0;
    beginTrial();
}

void BlindTest::beginTrial()
{
    heard.assign(numPlaces(), false);
    current = 0;
    heard[0] = true;
}

std::size_t BlindTest::numPlaces() const noexcept
{
    return numPlacesOf(held.kind, held.candidates.size());
}

bool BlindTest::isOver() const noexcept
{
    return held.isAbandoned || held.trials.size() == held.numPlanned;
}

void BlindTest::listenTo(std::size_t place)
{
    if (isOver() || place >= numPlaces())
        return;
    current = place;
    heard[place] = true;
}

std::size_t BlindTest::candidateToPlay() const
{
    // Once it is over the last trial goes on sounding until something else is wanted.
    return order[std::min(numAnswered(), order.size() - 1)][current];
}

bool BlindTest::canAnswer() const
{
    if (isOver())
        return false;
    return held.kind == BlindKind::abx
               ? heard[placeX]
               : std::ranges::all_of(heard, [](bool isHeard) { return isHeard; });
}

bool BlindTest::answer(std::size_t place)
{
    const std::size_t numAnswers =
        held.kind == BlindKind::abx ? numAbxCandidates : held.candidates.size();
    if (!canAnswer() || place >= numAnswers)
        return false;
    held.trials.push_back({order[numAnswered()], place});
    if (!isOver())
        beginTrial();
    return true;
}

void BlindTest::abandon()
{
    if (!isOver())
        held.isAbandoned = true;
}

void BlindTest::setProgrammePart(double fromSeconds, double toSeconds)
{
    if (isOver())
        return;
    held.conditions.programmeFromSeconds = fromSeconds;
    held.conditions.programmeToSeconds = toSeconds;
}

} // namespace saddletone::audition
