#include "Core/Report/BlindWords.h"

#include "Core/Audition/BlindStatistics.h"
#include "Core/Report/Wording.h"

#include <algorithm>
#include <cmath>

namespace saddletone::report {

namespace {

using audition::BlindKind;
using audition::BlindRun;

std::string quoted(const std::string& name)
{
    return "'" + name + "'";
}

std::string countWords(std::size_t count, std::size_t numTrials)
{
    return std::to_string(count) + " of " + std::to_string(numTrials);
}

std::string timeText(double seconds)
{
    const auto whole = static_cast<long>(std::floor(std::max(0.0, seconds)));
    const std::string rest = std::to_string(whole % 60);
    return std::to_string(whole / 60) + ":" + (rest.size() < 2 ? "0" : "") + rest;
}

std::string monitorWords(audition::Monitor monitor)
{
    return monitor == audition::Monitor::programmeOnly ? "music without ride noise"
                                                       : "music with ride noise";
}

/** "'Touring' 9 times, 'Sport' 4 times", the most chosen first. */
std::string choiceWords(const BlindRun& run, const audition::BlindFinding& finding)
{
    std::vector<std::size_t> order(run.candidates.size());
    for (std::size_t index = 0; index < order.size(); ++index)
        order[index] = index;
    std::ranges::stable_sort(order, [&](std::size_t first, std::size_t second) {
        return finding.timesChosen[first] > finding.timesChosen[second];
    });
    std::string words;
    for (const std::size_t index : order) {
        const std::size_t times = finding.timesChosen[index];
        words += (words.empty() ? "" : ", ") + quoted(run.candidates[index].name) + " "
                 + (times == 1 ? "once" : std::to_string(times) + " times");
    }
    return words;
}

std::size_t largestCount(const audition::BlindFinding& finding)
{
    return *std::ranges::max_element(finding.timesChosen);
}

std::string abandonedWords(const BlindRun& run)
{
    return "Abandoned after " + countWords(run.trials.size(), run.numPlanned)
           + " trials: no result.";
}

std::vector<std::string> abxSentences(const BlindRun& run, const audition::BlindFinding& finding)
{
    const std::size_t numTrials = run.trials.size();
    std::vector<std::string> sentences {
        countWords(finding.numCorrect, numTrials) + " answers were right. Someone who only guesses "
        + "gets that many or more " + blindChanceWords(finding.chance) + " ("
        + blindChanceText(finding.chance) + ")."};
    if (finding.isResult)
        return sentences;
    sentences.push_back(blindNeedWords(run.kind, run.candidates.size(), numTrials));
    sentences.emplace_back("It does not show that the two sound the same: a small difference, or "
                           "one that other music would bring out, can be missed.");
    // As rare on this side as a result is on the other.
    const std::size_t numWrong = numTrials - finding.numCorrect;
    if (audition::guessingChance(numWrong, numTrials) <= audition::blindSignificance)
        sentences.emplace_back("So few right answers are rare with guessing, too: perhaps A and B "
                               "were taken for each other. That cannot be counted afterwards; run "
                               "it again.");
    return sentences;
}

std::vector<std::string> preferenceSentences(const BlindRun& run,
                                             const audition::BlindFinding& finding)
{
    const std::size_t numTrials = run.trials.size();
    std::vector<std::string> sentences {"Chosen as the best in " + std::to_string(numTrials)
                                            + " trials: " + choiceWords(run, finding) + ".",
                                        "If all were chosen alike, one of them would be chosen "
                                            + std::to_string(largestCount(finding))
                                            + " times or more " + blindChanceWords(finding.chance)
                                            + " (" + blindChanceText(finding.chance) + ")."};
    if (finding.isResult)
        return sentences;
    if (!finding.mostChosen)
        sentences.emplace_back("More than one was chosen most, so none stands out.");
    else
        sentences.push_back(blindNeedWords(run.kind, run.candidates.size(), numTrials));
    sentences.emplace_back("It does not show that they are equally good.");
    return sentences;
}

} // namespace

std::string blindChanceText(double chance)
{
    constexpr double smallest = 1e-4;
    constexpr double largest = 0.99;
    if (chance < smallest)
        return "p < 0.0001";
    if (chance > largest)
        return "p > 0.99";
    // Two digits that count.
    const int decimals = chance >= 0.1 ? 2 : 1 - static_cast<int>(std::floor(std::log10(chance)));
    return "p = " + numberText(chance, decimals);
}

std::string blindChanceWords(double chance)
{
    if (chance < 1e-3)
        return "less than once in 1000 runs";
    if (chance <= 0.1)
        return "about once in " + numberText(1.0 / chance, 0) + " runs";
    const double inHundred = std::round(100.0 * chance);
    return inHundred >= 100.0 ? "nearly always"
                              : "in about " + numberText(inHundred, 0) + " of 100 runs";
}

std::string blindQuestion(const BlindRun& run)
{
    if (run.kind == BlindKind::abx)
        return "Can the two be told apart? (ABX)";
    return "Which of the " + std::to_string(run.candidates.size()) + " is liked best?";
}

std::string matchWords(audition::LevelMatch match)
{
    return match == audition::LevelMatch::equalLoudness ? "equal loudness"
                                                        : "as loud as on the bike";
}

std::string conditionWords(const audition::BlindConditions& conditions, SpeedUnits units)
{
    std::string words = matchWords(conditions.match) + "; " + monitorWords(conditions.monitor)
                        + "; " + speedWords(conditions.speedKmh, units) + "; "
                        + std::string(ride::helmetLabel(conditions.helmet));
    if (conditions.screen != ride::Screen::none)
        words += "; " + std::string(ride::screenLabel(conditions.screen));
    if (conditions.earPlugs != ride::EarPlugs::none)
        words += "; ear plugs";
    if (std::abs(conditions.volumeDb) >= 0.05)
        words += "; radio " + signedText(conditions.volumeDb, 1) + " dB";
    if (std::abs(conditions.noiseTrimDb) >= 0.05)
        words += "; noise trimmed by " + signedText(conditions.noiseTrimDb, 1) + " dB";
    words += "; " + (conditions.programme.empty() ? "music from the host" : conditions.programme);
    if (conditions.programmeFromSeconds && conditions.programmeToSeconds)
        words += ", " + timeText(*conditions.programmeFromSeconds) + " to "
                 + timeText(*conditions.programmeToSeconds);
    return words;
}

std::string conditionWords(const BlindRun& run, SpeedUnits units)
{
    std::string names;
    std::size_t numOverdriven = 0;
    for (const audition::BlindCandidate& candidate : run.candidates)
        if (candidate.isOverdriven) {
            names += (numOverdriven == 0 ? "" : ", ") + quoted(candidate.name);
            ++numOverdriven;
        }
    std::string words = conditionWords(run.conditions, units);
    if (numOverdriven > 0)
        words += "; with the distortion of the speakers as measured"
                 + (numOverdriven == run.candidates.size() ? std::string() : ": " + names);
    return words;
}

std::string blindNeedWords(BlindKind kind, std::size_t numCandidates, std::size_t numTrials)
{
    const std::string trials = std::to_string(numTrials);
    if (kind == BlindKind::abx) {
        const auto fewest = audition::fewestCorrect(numTrials, audition::blindSignificance);
        return fewest ? "Of " + trials + " answers, " + std::to_string(*fewest)
                            + " right ones count as heard."
                      : trials + " answers are too few to tell.";
    }
    const auto fewest =
        audition::fewestChosen(numTrials, numCandidates, audition::blindSignificance);
    return fewest ? "In " + trials + " trials with " + std::to_string(numCandidates)
                        + " candidates, one chosen " + std::to_string(*fewest)
                        + " times counts as liked best."
                  : trials + " trials are too few to tell.";
}

std::string blindHeadline(const BlindRun& run)
{
    const auto finding = audition::findingOf(run);
    if (!finding)
        return abandonedWords(run);
    if (!finding->isResult)
        return "This result says nothing either way.";
    return run.kind == BlindKind::abx
               ? std::string("You heard the difference.")
               : "You like " + quoted(run.candidates[*finding->mostChosen].name) + " best.";
}

std::vector<std::string> blindSentences(const BlindRun& run)
{
    const auto finding = audition::findingOf(run);
    if (!finding)
        return {"What had been answered is kept as abandoned. A test that ends when it suits "
                "would prove anything."};
    auto sentences = run.kind == BlindKind::abx ? abxSentences(run, *finding)
                                                : preferenceSentences(run, *finding);
    if (finding->isResult) {
        if (run.conditions.match == audition::LevelMatch::asOnTheBike)
            sentences.emplace_back(
                run.kind == BlindKind::abx
                    ? "Loudness was not matched: perhaps only a difference in level was heard."
                    : "Loudness was not matched: perhaps it was only liked for its level.");
        sentences.emplace_back(
            "It holds for this listener, this music, this ride and these headphones.");
    }
    return sentences;
}

std::string blindOutcome(const BlindRun& run)
{
    const auto finding = audition::findingOf(run);
    if (!finding)
        return abandonedWords(run);
    const std::string figures =
        (run.kind == BlindKind::abx
             ? countWords(finding->numCorrect, run.trials.size()) + " right"
             : countWords(largestCount(*finding), run.trials.size()) + " for one candidate")
        + " (" + blindChanceText(finding->chance) + ")";
    if (!finding->isResult)
        return "Says nothing either way: " + figures + ".";
    return run.kind == BlindKind::abx
               ? "The difference was heard: " + figures + "."
               : quoted(run.candidates[*finding->mostChosen].name)
                     + " was liked best: " + countWords(largestCount(*finding), run.trials.size())
                     + " (" + blindChanceText(finding->chance) + ").";
}

} // namespace saddletone::report
