#include "CommandLine/FileArguments.h"
#include "CommandLine/JobArgument.h"
#include "CommandLine/Options.h"
#include "CommandLine/ReportOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/TextTable.h"
#include "Core/Job/Job.h"

#include <memory>
#include <optional>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

struct JobReportVerbOptions {
    std::string folder;
    ReportOptions report;
    std::optional<std::size_t> proposed; ///< From 1 on; 0 takes the proposal back.
    std::optional<double> amplifierWatts;
    std::optional<double> plannedSplDb;
    std::optional<double> distanceMetres;
};

Outcome runJobReport(const JobReportVerbOptions& options)
{
    const auto units = options.report.speedUnits();
    if (!units)
        return usageFailure(units.error().message);
    auto job = loadJobArgument(options.folder);
    if (!job)
        return inputFailure(job.error());
    if (options.proposed && *options.proposed > job->candidates.size())
        return usageFailure("--propose " + std::to_string(*options.proposed) + ": the job has "
                            + std::to_string(job->candidates.size())
                            + " candidate(s); 'saddletone job list' numbers them");
    if (!options.report.question.empty())
        job->question = options.report.question;
    if (*units)
        job->report.speedUnits = **units;
    if (const auto speeds = options.report.speedsKmh(); !speeds.empty()) {
        if (const auto checked = job::checkReportSpeeds(speeds); !checked)
            return usageFailure(checked.error().message);
        job->report.speedsKmh = speeds;
    }
    if (options.proposed)
        for (std::size_t index = 0; index < job->candidates.size(); ++index)
            job->candidates[index].isProposed = index + 1 == *options.proposed;
    job->cost.amplifierWatts = options.amplifierWatts.value_or(job->cost.amplifierWatts);
    job->cost.plannedSplDb = options.plannedSplDb.value_or(job->cost.plannedSplDb);
    job->cost.distanceMetres = options.distanceMetres.value_or(job->cost.distanceMetres);
    if (const auto saved = job::saveJob(*job); !saved)
        return inputFailure(saved.error());

    std::string proposed;
    for (const job::JobCandidate& candidate : job->candidates)
        if (candidate.isProposed)
            proposed = candidate.name;
    Output output;
    output.text =
        options.folder + ": "
        + (job->question.empty() ? "the usual question" : "question '" + job->question + "'") + ", "
        + (proposed.empty() ? "nothing is proposed" : "'" + proposed + "' is proposed")
        + ", speeds in " + std::string(report::speedUnitsName(job->report.speedUnits)) + ", "
        + (job->cost.amplifierWatts > 0.0
               ? "amplifier of " + fixedText(job->cost.amplifierWatts, 0) + " W a channel"
               : std::string("amplifier not known"))
        + "\n";
    output.json = {{"question", job->question},
                   {"proposed", proposed},
                   {"speedUnits", report::speedUnitsName(job->report.speedUnits)},
                   {"speedsKmh", job->report.speedsKmh},
                   {"amplifierWatts", job->cost.amplifierWatts},
                   {"plannedSplDb", job->cost.plannedSplDb},
                   {"distanceMetres", job->cost.distanceMetres}};
    return output;
}

} // namespace

void addJobReportVerb(CLI::App& job, Shared& shared)
{
    auto options = std::make_shared<JobReportVerbOptions>();
    CLI::App* verb = addVerb(job, "report",
                             "Set what the customer's report of a job asks, proposes and "
                             "counts with; what is not given stays");
    addOption(*verb, "folder", options->folder, "Folder of the job")->required();
    addReportOptions(*verb, options->report);
    addOption(*verb, "--propose", options->proposed,
              "Number of the candidate that is proposed; 0: none");
    addOption(*verb, "--amplifier-watts", options->amplifierWatts,
              "Sine power of an amplifier channel, 1 to 2000")
        ->check(withinRange(1.0, 2000.0));
    addOption(*verb, "--planned-spl", options->plannedSplDb,
              "dB SPL of pink noise at the head that the cost is worked out for, 40 to 130")
        ->check(withinRange(40.0, 130.0));
    addOption(*verb, "--distance", options->distanceMetres, "Metres from speaker to head, 0.2 to 5")
        ->check(withinRange(0.2, 5.0));
    verb->callback(
        [options, &shared] { shared.action = [options] { return runJobReport(*options); }; });
}

} // namespace saddletone::commandline
