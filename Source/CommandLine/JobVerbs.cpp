#include "CommandLine/StateOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Demo/Demo.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobReport.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <chrono>
#include <memory>
#include <optional>
#include <system_error>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

/** Today by the system's clock, ISO 8601. */
std::string today()
{
    const std::chrono::year_month_day date(
        std::chrono::floor<std::chrono::days>(std::chrono::system_clock::now()));
    const auto twoDigits = [](unsigned value) {
        return (value < 10 ? "0" : "") + std::to_string(value);
    };
    return std::to_string(static_cast<int>(date.year())) + "-"
           + twoDigits(static_cast<unsigned>(date.month())) + "-"
           + twoDigits(static_cast<unsigned>(date.day()));
}

struct NewJobOptions {
    std::string folder;
    std::string title;
    std::string shop;
    std::string bike;
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
    std::string state;
    std::string tuning;
    std::string name;
    std::string speakers; ///< Empty: as the state says.
};

Outcome runAdd(const AddOptions& options)
{
    std::optional<measure::SpeakerGroup> speakers;
    if (!options.speakers.empty()) {
        const auto group = speakerGroupOf(options.speakers);
        if (!group)
            return usageFailure(group.error().message);
        speakers = *group;
    }
    auto job = job::loadJob(options.folder);
    if (!job)
        return inputFailure(job.error());
    if (job->candidates.size() >= audition::maxCandidates)
        return Failure {ExitCode::notGoodEnough,
                        "the job has " + std::to_string(audition::maxCandidates)
                            + " candidates already, as many as can be heard side by side"};
    auto response = measure::loadResponse(options.state);
    if (!response)
        return inputFailure(response.error());
    if (speakers)
        response->state.speakers = *speakers;

    std::optional<tuning::Tuning> tuning;
    if (!options.tuning.empty()) {
        auto loaded = tuning::loadTuning(options.tuning);
        if (!loaded)
            return inputFailure(loaded.error());
        tuning = *std::move(loaded);
    }
    const std::string name = options.name.empty() ? response->name : options.name;
    const auto added = job::addState(
        *job, *response, std::filesystem::path(options.state).stem().string(), name, tuning);
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
    const auto job = job::loadJob(folder);
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

Outcome runList(const std::string& folder)
{
    const auto job = job::loadJob(folder);
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
        output.text += "  " + state.id + "  " + state.file + "\n";
        output.json["states"].push_back({{"id", state.id}, {"file", state.file}});
    }
    output.text += "candidates:\n";
    for (std::size_t index = 0; index < job->candidates.size(); ++index) {
        const job::JobCandidate& candidate = job->candidates[index];
        output.text +=
            "  " + std::to_string(index + 1) + "  " + candidate.name + "  (" + candidate.stateId
            + (candidate.tuningFile.empty() ? "" : " with " + candidate.tuningFile) + ")\n";
        output.json["candidates"].push_back({{"name", candidate.name},
                                             {"stateId", candidate.stateId},
                                             {"tuningFile", candidate.tuningFile}});
    }
    output.text += "programmes:\n";
    for (const std::string& programme : job->programmes)
        output.text += "  " + programme + "\n";
    return output;
}

void addJob(CLI::App& app, Shared& shared)
{
    CLI::App* verb =
        app.add_subcommand("job", "Start, fill, check or list a job (one bike of one customer)");
    verb->require_subcommand(1);
    verb->fallthrough();

    auto newOptions = std::make_shared<NewJobOptions>();
    CLI::App* newVerb = verb->add_subcommand("new", "Start a job in a folder");
    newVerb->add_option("folder", newOptions->folder, "Folder of the job")->required();
    newVerb->add_option("--title", newOptions->title, "Title");
    newVerb->add_option("--shop", newOptions->shop, "Name of the shop");
    newVerb->add_option("--bike", newOptions->bike, "The bike, in words");
    newVerb->callback(
        [newOptions, &shared] { shared.action = [newOptions] { return runNewJob(*newOptions); }; });

    auto addOptions = std::make_shared<AddOptions>();
    CLI::App* addVerb =
        verb->add_subcommand("add", "Copy a measured state into a job and add it as a candidate");
    addVerb->add_option("folder", addOptions->folder, "Folder of the job")->required();
    addVerb->add_option("--state", addOptions->state, "STATE.json")->required();
    addVerb->add_option("--tuning", addOptions->tuning, "TUNING.json");
    addVerb->add_option("--name", addOptions->name, "Name of the candidate");
    addVerb->add_option("--speakers", addOptions->speakers,
                        "Which speakers played, if the state does not say it right: "
                            + measure::speakerGroupChoices());
    addVerb->callback(
        [addOptions, &shared] { shared.action = [addOptions] { return runAdd(*addOptions); }; });

    auto folder = std::make_shared<std::string>();
    CLI::App* check =
        verb->add_subcommand("check", "Open everything a job names and report problems");
    check->add_option("folder", *folder, "Folder of the job")->required();
    check->callback([folder, &shared] { shared.action = [folder] { return runCheck(*folder); }; });
    addJobRideVerb(*verb, shared);
    CLI::App* list = verb->add_subcommand("list", "Show what is in a job");
    list->add_option("folder", *folder, "Folder of the job")->required();
    list->callback([folder, &shared] { shared.action = [folder] { return runList(*folder); }; });
}

void addReport(CLI::App& app, Shared& shared)
{
    auto folder = std::make_shared<std::string>();
    auto out = std::make_shared<std::string>();
    CLI::App* verb = app.add_subcommand(
        "report", "Write the customer's report of a job: one HTML file, and its curves as CSV");
    verb->add_option("--job", *folder, "Folder of the job")->required();
    verb->add_option("--out", *out, "HTML file to write")->required();
    verb->callback([folder, out, &shared] {
        shared.action = [folder, out]() -> Outcome {
            const auto job = job::loadJob(*folder);
            if (!job)
                return inputFailure(job.error());
            job::JobReportOptions options;
            options.dateText = today();
            if (const auto written = job::writeJobReport(*job, *out, options); !written)
                return inputFailure(written.error());
            Output output;
            output.text = *out + ": the report; open it in a browser, print it from there\n";
            output.json = {{"report", *out}};
            return output;
        };
    });
}

void addDemo(CLI::App& app, Shared& shared)
{
    auto folder = std::make_shared<std::string>();
    CLI::App* verb =
        app.add_subcommand("demo", "Go through a whole job of an invented shop and bike");
    verb->add_option("--out", *folder, "Folder to write to")->required();
    verb->callback([folder, &shared] {
        shared.action = [folder]() -> Outcome {
            const auto result =
                demo::runDemo(*folder, today(), [](const std::string& step, double) {
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
