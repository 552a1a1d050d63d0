#include "CommandLine/GroupOptions.h"
#include "CommandLine/JobArgument.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/ReportOptions.h"
#include "CommandLine/StateOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Demo/Demo.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobLibrary.h"
#include "Core/Job/JobReport.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <memory>
#include <optional>
#include <system_error>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

struct NewJobOptions {
    std::string folder;
    std::string title;
    std::string shop;
    std::string bike;
    std::string question;
};

Outcome runNewJob(const NewJobOptions& options)
{
    std::error_code reason;
    if (std::filesystem::exists(std::filesystem::path(options.folder) / "job.json", reason))
        return Failure {ExitCode::notGoodEnough,
                        "'" + options.folder + "' is a job already; nothing was changed"};
    job::Job job;
    job.folder = options.folder;
    job.title = options.title.empty() ? std::filesystem::path(options.folder).filename().string()
                                      : options.title;
    job.shop = options.shop;
    job.bike = options.bike;
    job.question = options.question;
    if (const auto saved = job::saveJob(job); !saved)
        return inputFailure(saved.error());
    Output output;
    output.text = options.folder + ": new job '" + job.title
                  + "'\nnext: saddletone measure … --out STATE.json, then saddletone job add "
                  + options.folder + " --state STATE.json\n";
    output.json = {{"folder", options.folder}, {"title", job.title}};
    return output;
}

struct AddOptions {
    std::string folder;
    std::string state; ///< STATE.json, or with from the id of a state of that job.
    std::string from;  ///< Folder of another job; empty: none.
    GroupOptions groups;
    std::string tuning;
    std::string name;
    std::string speakers; ///< Empty: as the state says.
};

/** Adds a candidate of several speaker groups. */
Outcome addGroupsTo(job::Job& job, const measure::Response& first,
                    const measure::StateOrigin& firstOrigin,
                    const std::optional<tuning::Tuning>& tuning, const AddOptions& options)
{
    const auto groups = loadGroups(first, options.groups);
    if (!groups)
        return inputFailure(groups.error());
    const auto idOf = [](const std::string& file) {
        return std::filesystem::path(file).stem().string();
    };
    std::vector<job::StateToAdd> states {{first, idOf(options.state), firstOrigin}};
    for (const std::string& file : options.groups.states) {
        auto state = measure::loadResponse(file);
        if (!state)
            return inputFailure(state.error());
        const auto origin = measure::loadOrigin(file);
        if (!origin)
            return inputFailure(origin.error());
        states.push_back({*std::move(state), idOf(file), *origin});
    }
    const std::string name = options.name.empty() ? (*groups)->words() : options.name;
    const auto ids = job::addGroups(job, states, (*groups)->sum, name, tuning);
    if (!ids)
        return inputFailure(ids.error());
    Output output;
    output.text = options.folder + ": candidate " + std::to_string(job.candidates.size()) + " '"
                  + name + "'\n";
    output.json = {{"candidate", name}, {"stateId", ids->front()}, {"stateIds", *ids}};
    describeGroups(groups->get(), output);
    return output;
}

Outcome runAdd(const AddOptions& options)
{
    std::optional<measure::SpeakerGroup> speakers;
    if (!options.speakers.empty()) {
        const auto group = speakerGroupOf(options.speakers);
        if (!group)
            return usageFailure(group.error().message);
        speakers = *group;
    }
    auto job = loadJobArgument(options.folder);
    if (!job)
        return inputFailure(job.error());
    if (job->candidates.size() >= audition::maxCandidates)
        return Failure {ExitCode::notGoodEnough,
                        "the job has " + std::to_string(audition::maxCandidates)
                            + " candidates already, as many as can be heard side by side"};
    if (!options.from.empty()) {
        auto other = loadJobArgument(options.from);
        if (!other)
            return inputFailure(other.error());
        const auto added = job::addFromOtherJob(*job, *other, options.state, options.name);
        if (!added)
            return inputFailure(added.error());
        const std::string words = job::otherBikeWords(*job->states.back().measuredElsewhere);
        Output output;
        output.text = options.folder + ": candidate " + std::to_string(job->candidates.size())
                      + " '" + job->candidates.back().name + "', " + words + "\n";
        output.json = {{"candidate", job->candidates.back().name},
                       {"stateId", added->id},
                       {"measuredElsewhere", words}};
        return output;
    }
    auto response = measure::loadResponse(options.state);
    if (!response)
        return inputFailure(response.error());
    const auto origin = measure::loadOrigin(options.state);
    if (!origin)
        return inputFailure(origin.error());
    if (speakers)
        response->state.speakers = *speakers;

    std::optional<tuning::Tuning> tuning;
    if (!options.tuning.empty()) {
        auto loaded = tuning::loadTuning(options.tuning);
        if (!loaded)
            return inputFailure(loaded.error());
        tuning = *std::move(loaded);
    }
    if (!options.groups.states.empty())
        return addGroupsTo(*job, *response, *origin, tuning, options);
    const std::string name = options.name.empty() ? response->name : options.name;
    const auto added =
        job::addState(*job, *response, std::filesystem::path(options.state).stem().string(), name,
                      tuning, *origin);
    if (!added)
        return inputFailure(added.error());
    Output output;
    output.text = options.folder + ": candidate " + std::to_string(job->candidates.size()) + " '"
                  + name + "'\n";
    output.json = {{"candidate", name}, {"stateId", added->id}};
    return output;
}

Outcome runCheck(const std::string& folder)
{
    const auto job = loadJobArgument(folder);
    if (!job)
        return inputFailure(job.error());
    const auto problems = job::checkJob(*job);
    if (!problems.empty()) {
        std::string message = std::to_string(problems.size()) + " problem(s) in '" + folder + "':";
        for (const std::string& problem : problems)
            message += "\n  " + problem;
        return Failure {ExitCode::notGoodEnough, message};
    }
    Output output;
    output.text = folder + ": all of " + std::to_string(job->states.size()) + " state(s), "
                  + std::to_string(job->candidates.size()) + " candidate(s) and "
                  + std::to_string(job->programmes.size()) + " programme(s) can be used\n";
    output.json = {{"folder", folder}, {"problems", nlohmann::json::array()}};
    return output;
}

std::string stateWords(const job::JobState& state)
{
    return state.id + "  " + state.file
           + (state.measuredElsewhere ? "  (" + job::otherBikeWords(*state.measuredElsewhere) + ")"
                                      : "");
}

nlohmann::json stateJson(const job::JobState& state)
{
    nlohmann::json json {{"id", state.id}, {"file", state.file}};
    if (state.measuredElsewhere)
        json["measuredElsewhere"] = job::otherBikeWords(*state.measuredElsewhere);
    return json;
}

/** All jobs below a folder. */
Outcome runListLibrary(const std::string& folder)
{
    const auto library = job::listLibrary(folder);
    if (!library)
        return inputFailure(library.error());
    Output output;
    output.json = {{"jobs", nlohmann::json::array()}, {"problems", library->problems}};
    for (const job::LibraryJob& entry : library->jobs) {
        output.text += entry.job.folder.string() + "\n  " + entry.job.title
                       + (entry.job.invented ? " [invented demo data]" : "") + "; "
                       + (entry.job.bike.empty() ? "bike not named" : entry.job.bike)
                       + "; last changed " + entry.changedOn + "\n";
        nlohmann::json states = nlohmann::json::array();
        for (const job::JobState& state : entry.job.states) {
            output.text += "    " + stateWords(state) + "\n";
            states.push_back(stateJson(state));
        }
        output.json["jobs"].push_back({{"folder", entry.job.folder.string()},
                                       {"title", entry.job.title},
                                       {"bike", entry.job.bike},
                                       {"invented", entry.job.invented},
                                       {"changedOn", entry.changedOn},
                                       {"states", std::move(states)}});
    }
    for (const std::string& problem : library->problems)
        output.text += "cannot be read: " + problem + "\n";
    return output;
}

Outcome runList(const std::string& folder)
{
    if (!job::isJobFolder(folder))
        return runListLibrary(folder);
    const auto job = loadJobArgument(folder);
    if (!job)
        return inputFailure(job.error());
    Output output;
    output.text = job->title + (job->invented ? " [invented demo data]" : "")
                  + "\nshop: " + job->shop + "\nbike: " + job->bike + "\nstates:\n";
    output.json = {{"title", job->title},
                   {"shop", job->shop},
                   {"bike", job->bike},
                   {"invented", job->invented},
                   {"states", nlohmann::json::array()},
                   {"candidates", nlohmann::json::array()},
                   {"programmes", job->programmes}};
    for (const job::JobState& state : job->states) {
        output.text += "  " + stateWords(state) + "\n";
        output.json["states"].push_back(stateJson(state));
    }
    output.text += "candidates:\n";
    for (std::size_t index = 0; index < job->candidates.size(); ++index) {
        const job::JobCandidate& candidate = job->candidates[index];
        std::string states;
        for (const std::string& id : candidate.allStateIds())
            states += (states.empty() ? "" : " + ") + id;
        if (!candidate.groupStateIds.empty() && candidate.groupSum == measure::GroupSum::power)
            states += " in power, an estimate";
        output.text += "  " + std::to_string(index + 1) + "  " + candidate.name + "  (" + states
                       + (candidate.tuningFile.empty() ? "" : " with " + candidate.tuningFile)
                       + ")\n";
        output.json["candidates"].push_back({{"name", candidate.name},
                                             {"stateId", candidate.stateId},
                                             {"groupStateIds", candidate.groupStateIds},
                                             {"tuningFile", candidate.tuningFile}});
    }
    output.text += "programmes:\n";
    for (const std::string& programme : job->programmes)
        output.text += "  " + programme + "\n";
    return output;
}

void addJob(CLI::App& app, Shared& shared)
{
    CLI::App* verb = addVerb(
        app, "job", "Start, fill, check, list, copy or archive a job (one bike of one customer)");
    verb->require_subcommand(1);
    verb->fallthrough();

    auto newOptions = std::make_shared<NewJobOptions>();
    CLI::App* newVerb = addVerb(*verb, "new", "Start a job in a folder");
    addOption(*newVerb, "folder", newOptions->folder, "Folder of the job")->required();
    addOption(*newVerb, "--title", newOptions->title, "Title");
    addOption(*newVerb, "--shop", newOptions->shop, "Name of the shop");
    addOption(*newVerb, "--bike", newOptions->bike, "The bike, in words");
    addOption(*newVerb, "--question", newOptions->question, "What the customer wants to know");
    newVerb->callback(
        [newOptions, &shared] { shared.action = [newOptions] { return runNewJob(*newOptions); }; });

    auto addOptions = std::make_shared<AddOptions>();
    CLI::App* addition =
        addVerb(*verb, "add", "Copy a measured state into a job and add it as a candidate");
    addOption(*addition, "folder", addOptions->folder, "Folder of the job")->required();
    addOption(*addition, "--state", addOptions->state,
              "STATE.json; with --from the name of a state there, see job list")
        ->required();
    CLI::Option* const from =
        addOption(*addition, "--from", addOptions->from,
                  "Folder of another job whose state is added, marked as measured on another bike");
    addGroupOptions(*addition, "--state", addOptions->groups);
    addition->get_option("--group")->excludes(from);
    addOption(*addition, "--tuning", addOptions->tuning, "TUNING.json")
        ->transform(fileOrPreset(presets::PresetKind::tuning))
        ->excludes(from);
    addOption(*addition, "--name", addOptions->name, "Name of the candidate");
    addOption(*addition, "--speakers", addOptions->speakers,
              "Which speakers played, if the state does not say it right: "
                  + measure::speakerGroupChoices())
        ->excludes(from);
    addition->callback(
        [addOptions, &shared] { shared.action = [addOptions] { return runAdd(*addOptions); }; });

    auto folder = std::make_shared<std::string>();
    CLI::App* check = addVerb(*verb, "check", "Open everything a job names and report problems");
    addOption(*check, "folder", *folder, "Folder of the job")->required();
    check->callback([folder, &shared] { shared.action = [folder] { return runCheck(*folder); }; });
    addJobEventsVerb(*verb, shared);
    addJobRideVerb(*verb, shared);
    addJobReportVerb(*verb, shared);
    addJobSeatVerb(*verb, shared);
    addJobFolderVerbs(*verb, shared);
    CLI::App* list = addVerb(
        *verb, "list", "Show what is in a job, or all jobs in a folder and the folders in it");
    addOption(*list, "folder", *folder, "Folder of the job or of the jobs")->required();
    list->callback([folder, &shared] { shared.action = [folder] { return runList(*folder); }; });
}

struct ReportVerbOptions {
    std::string folder;
    std::string out;
    ReportOptions report;
};

Outcome runReport(const ReportVerbOptions& options)
{
    const auto units = options.report.speedUnits();
    if (!units)
        return usageFailure(units.error().message);
    job::JobReportOptions reportOptions;
    reportOptions.dateText = measure::todayUtc();
    reportOptions.question = options.report.question;
    reportOptions.speedsKmh = options.report.speedsKmh();
    reportOptions.speedUnits = *units;
    const auto written = job::writeJobReport(std::filesystem::path(options.folder), options.out,
                                             reportOptions, [](double share) {
                                                 showProgress(fixedText(100.0 * share, 0) + " %");
                                                 return true;
                                             });
    if (!written)
        return inputFailure(written.error());
    Output output;
    output.text = written->html.string()
                  + ": the report, two pages; open it in a browser, print it from there\n"
                  + written->appendix.string()
                  + ": what stands behind it, to be printed if wanted\n" + written->curves.string()
                  + ": every curve as numbers\n";
    output.json = {{"report", written->html.string()},
                   {"appendix", written->appendix.string()},
                   {"curves", written->curves.string()}};
    return output;
}

void addReport(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<ReportVerbOptions>();
    CLI::App* verb = addVerb(
        app, "report",
        "Write the customer's report of a job: two pages of HTML, an appendix and its curves");
    addOption(*verb, "--job", options->folder, "Folder of the job")->required();
    addOption(*verb, "--out", options->out, "HTML file to write")->required();
    addReportOptions(*verb, options->report);
    verb->callback(
        [options, &shared] { shared.action = [options] { return runReport(*options); }; });
}

void addDemo(CLI::App& app, Shared& shared)
{
    auto folder = std::make_shared<std::string>();
    CLI::App* verb = addVerb(app, "demo", "Go through a whole job of an invented shop and bike");
    addOption(*verb, "--out", *folder, "Folder to write to")->required();
    verb->callback([folder, &shared] {
        shared.action = [folder]() -> Outcome {
            const auto result =
                demo::runDemo(*folder, measure::todayUtc(), [](const std::string& step, double) {
                    showProgress(step);
                    return true;
                });
            if (!result)
                return inputFailure(result.error());
            Output output;
            output.text =
                "Invented demo: a made-up shop, a made-up bike, simulated recordings.\njob:    "
                + result->jobFolder.string() + "\nreport: " + result->report.string()
                + "\nauditions:\n";
            output.json = {{"job", result->jobFolder.string()},
                           {"report", result->report.string()},
                           {"auditions", nlohmann::json::array()}};
            for (const demo::DemoAudition& audition : result->auditions) {
                const bool rides = audition.noiseSplDba > dsp::silenceDb;
                output.text +=
                    "  " + audition.file.string() + "\n    " + audition.what + ": programme "
                    + fixedText(audition.programmeSplDba, 1) + " dB(A) (assumed)"
                    + (rides
                           ? ", noise " + fixedText(audition.noiseSplDba, 1) + " dB(A) (estimated)"
                           : std::string(", no noise"))
                    + "\n";
                output.json["auditions"].push_back(
                    {{"file", audition.file.string()},
                     {"what", audition.what},
                     {"programmeSplDba", audition.programmeSplDba},
                     {"noiseSplDba",
                      rides ? nlohmann::json(audition.noiseSplDba) : nlohmann::json()}});
            }
            output.text += "Listen parked, over headphones, and start quietly.\n";
            return output;
        };
    });
}

} // namespace

void addJobVerbs(CLI::App& app, Shared& shared)
{
    addJob(app, shared);
    addReport(app, shared);
    addDemo(app, shared);
}

} // namespace saddletone::commandline
