#include "CommandLine/JobArgument.h"
#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Audition/BlindStatistics.h"
#include "Core/Job/BlindRuns.h"
#include "Core/Report/BlindWords.h"

#include <memory>
#include <optional>
#include <string>
#include <variant>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using Outcome = std::variant<Output, Failure>;

constexpr long long mostTrials = 1000;

struct BlindOptions {
    std::string job;
    bool lists = false;
    std::optional<long long> verified; ///< Number of a run, from 1.
    std::optional<long long> numCorrect;
    std::optional<long long> numTrials;
    long long numCandidates = 0; ///< 0: the counts are of an ABX test.
};

/** A run as it is stored, with what follows from it. */
nlohmann::json toJson(const audition::BlindRun& run)
{
    auto json = job::blindRunToJson(run);
    json["question"] = report::blindQuestion(run);
    json["outcomeWords"] = report::blindOutcome(run);
    if (const auto finding = audition::findingOf(run)) {
        json["chance"] = finding->chance;
        json["isResult"] = finding->isResult;
        if (run.kind == audition::BlindKind::abx)
            json["numCorrect"] = finding->numCorrect;
        else
            json["timesChosen"] = finding->timesChosen;
    }
    return json;
}

std::string textOf(const audition::BlindRun& run, std::size_t number)
{
    std::string text = std::to_string(number) + "  " + report::blindQuestion(run)
                       + (run.startedAt.empty() ? "" : "  (" + run.startedAt + ")") + "\n";
    for (std::size_t index = 0; index < run.candidates.size(); ++index)
        text += (index == 0 ? "   of: " : "       ") + run.candidates[index].name + "\n";
    return text + "   " + report::blindOutcome(run) + "\n   " + report::conditionWords(run)
           + "\n   seed " + std::to_string(run.seed) + "\n";
}

Outcome runList(const std::vector<audition::BlindRun>& runs)
{
    Output output;
    output.json = {{"runs", nlohmann::json::array()}};
    for (std::size_t index = 0; index < runs.size(); ++index) {
        output.text += textOf(runs[index], index + 1);
        output.json["runs"].push_back(toJson(runs[index]));
    }
    if (runs.empty())
        output.text = "no blind test has been made in this job\n";
    return output;
}

Outcome runVerify(const std::vector<audition::BlindRun>& runs, long long number)
{
    if (number < 1 || number > static_cast<long long>(runs.size()))
        return usageFailure("--verify " + std::to_string(number) + ": the job has "
                            + std::to_string(runs.size()) + " blind run(s)");
    const audition::BlindRun& run = runs[static_cast<std::size_t>(number - 1)];
    const auto order =
        audition::deriveBlindOrder(run.kind, run.candidates.size(), run.numPlanned, run.seed);
    if (!audition::hasOrderOfItsSeed(run))
        return Failure {ExitCode::notGoodEnough,
                        "the order of run " + std::to_string(number)
                            + " is not the one that its seed " + std::to_string(run.seed)
                            + " gives: it was changed, or not made by this program"};
    Output output;
    output.text = "run " + std::to_string(number) + ": its order is the one of seed "
                  + std::to_string(run.seed) + " (" + std::string(audition::blindOrderMethod)
                  + ")\n";
    output.json = {{"run", number},
                   {"seed", run.seed},
                   {"orderMethod", audition::blindOrderMethod},
                   {"order", order}};
    for (std::size_t trial = 0; trial < order.size(); ++trial) {
        output.text += "  trial " + std::to_string(trial + 1) + ":";
        for (std::size_t place = 0; place < order[trial].size(); ++place)
            output.text += std::string("  ") + audition::blindLetter(run.kind, place) + " "
                           + run.candidates[order[trial][place]].name;
        output.text += trial < run.trials.size()
                           ? std::string("  answered ")
                                 + audition::blindLetter(run.kind, run.trials[trial].answer)
                           : std::string("  not answered");
        output.text += "\n";
    }
    return output;
}

Outcome runChance(const BlindOptions& options)
{
    if (!options.numCorrect || !options.numTrials)
        return usageFailure("--correct and --trials belong together");
    const long long trials = *options.numTrials;
    const long long correct = *options.numCorrect;
    if (trials < 1 || trials > mostTrials || correct < 0 || correct > trials)
        return usageFailure("--trials takes 1 to " + std::to_string(mostTrials)
                            + ", --correct 0 to as many");
    const bool isAbx = options.numCandidates == 0;
    if (!isAbx && (options.numCandidates < 2 || options.numCandidates > 8))
        return usageFailure("--candidates takes 2 to 8");
    const auto numTrials = static_cast<std::size_t>(trials);
    const auto count = static_cast<std::size_t>(correct);
    const auto numCandidates = static_cast<std::size_t>(options.numCandidates);
    const double chance = isAbx ? audition::guessingChance(count, numTrials)
                                : audition::largestCountChance(count, numTrials, numCandidates);
    Output output;
    output.text =
        report::blindChanceText(chance) + ": "
        + (isAbx ? std::string("somebody who only guesses gets that many or more ")
                 : std::string("without a favourite, one is chosen that often or more "))
        + report::blindChanceWords(chance) + "\n"
        + report::blindNeedWords(isAbx ? audition::BlindKind::abx : audition::BlindKind::preference,
                                 numCandidates, numTrials)
        + "\n";
    const auto needed =
        isAbx ? audition::fewestCorrect(numTrials, audition::blindSignificance)
              : audition::fewestChosen(numTrials, numCandidates, audition::blindSignificance);
    output.json = {{"correct", correct},
                   {"trials", trials},
                   {"chance", chance},
                   {"isResult", chance <= audition::blindSignificance},
                   {"needed", needed ? nlohmann::json(*needed) : nlohmann::json()}};
    if (!isAbx)
        output.json["candidates"] = options.numCandidates;
    return output;
}

Outcome runBlind(const BlindOptions& options)
{
    const bool asksForChance =
        options.numCorrect || options.numTrials || options.numCandidates != 0;
    if (asksForChance) {
        if (!options.job.empty() || options.lists || options.verified)
            return usageFailure("--correct and --trials go without a job");
        return runChance(options);
    }
    if (options.job.empty())
        return usageFailure("name the job with --job, or counts with --correct and --trials");
    if (options.lists && options.verified)
        return usageFailure("--list and --verify exclude each other");
    const auto job = loadJobArgument(options.job);
    if (!job)
        return inputFailure(job.error());
    const auto runs = job::blindRunsOf(*job);
    if (!runs)
        return inputFailure(runs.error());
    return options.verified ? runVerify(*runs, *options.verified) : runList(*runs);
}

} // namespace

void addBlindVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<BlindOptions>();
    CLI::App* verb =
        addVerb(app, "blind",
                "Show the blind tests of a job, check their order, or give the chance of counts");
    addOption(*verb, "--job", options->job, "Folder of the job");
    addFlag(*verb, "--list", options->lists, "Show the runs; this is what happens anyway");
    addOption(*verb, "--verify", options->verified,
              "Derive the order of this run (from 1) from its seed, and compare");
    addOption(*verb, "--correct", options->numCorrect,
              "Right answers of an ABX test, or choices of the most chosen candidate");
    addOption(*verb, "--trials", options->numTrials, "Of so many trials");
    addOption(*verb, "--candidates", options->numCandidates,
              "The counts are of a preference among so many candidates, 2 to 8");
    verb->callback(
        [options, &shared] { shared.action = [options] { return runBlind(*options); }; });
}

} // namespace saddletone::commandline
