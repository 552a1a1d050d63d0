#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/TextTable.h"
#include "Core/Job/JobArchive.h"
#include "Core/Job/JobCopy.h"
#include "Core/Job/JobOpening.h"

#include <memory>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using Outcome = std::variant<Output, Failure>;

/** Shows every tenth of a transfer. */
job::TransferHooks progressHooks(const std::string& doing)
{
    job::TransferHooks hooks;
    hooks.onProgress = [doing, shown = std::uint64_t {0}](const job::TransferProgress& at) mutable {
        constexpr std::uint64_t numSteps = 10;
        const std::uint64_t step = at.bytesTotal > 0 ? numSteps * at.bytesDone / at.bytesTotal : 0;
        if (step > shown) {
            shown = step;
            showProgress(doing + " " + std::to_string(100 / numSteps * step) + " %");
        }
    };
    return hooks;
}

Output transferOutput(const std::string& what, const std::string& place,
                      const job::Transferred& done)
{
    Output output;
    output.text = place + ": " + what + ", " + std::to_string(done.numFiles) + " file(s)\n";
    if (!done.problems.empty())
        output.text += "it was taken as it is; these stand in the way of using all of it:\n";
    for (const std::string& problem : done.problems)
        output.text += "  " + problem + "\n";
    output.json = {{"out", place},
                   {"numFiles", done.numFiles},
                   {"numBytes", done.numBytes},
                   {"problems", done.problems}};
    return output;
}

Outcome runCopy(const std::string& folder, const std::string& newFolder)
{
    const auto done = job::copyJob(folder, newFolder, progressHooks("copying"));
    if (!done)
        return inputFailure(done.error());
    return transferOutput("a copy of '" + folder + "'", newFolder, *done);
}

Outcome runArchive(const std::string& folder, const std::string& zipFile)
{
    if (auto failure = checkEnding("--out", zipFile, {".zip"}))
        return *std::move(failure);
    const auto done = job::archiveJob(folder, zipFile, progressHooks("packing"));
    if (!done)
        return inputFailure(done.error());
    return transferOutput("the job '" + folder + "'", zipFile, *done);
}

Outcome runUnpack(const std::string& zipFile, const std::string& folder)
{
    const auto done = job::unpackJob(zipFile, folder, progressHooks("unpacking"));
    if (!done)
        return inputFailure(done.error());
    return transferOutput("the job of '" + zipFile + "'", folder, *done);
}

/** Puts right what a crash has left. */
Outcome runRecover(const std::string& folder)
{
    auto opened = job::openJob(folder);
    if (!opened)
        return inputFailure(opened.error());
    if (!opened->lock)
        return Failure {ExitCode::notGoodEnough, opened->readOnlyReason};
    const bool isDamaged = !opened->job.warnings.empty();
    if (isDamaged)
        if (const auto saved = job::saveJob(opened->job); !saved)
            return inputFailure(saved.error());
    Output output;
    output.json = {{"folder", folder},
                   {"warnings", opened->job.warnings},
                   {"swept", nlohmann::json::array()},
                   {"cutOffTakes", nlohmann::json::array()}};
    for (const std::string& warning : opened->job.warnings)
        output.text += warning + "\n";
    if (isDamaged)
        output.text += folder + ": job.json was written anew from its previous version\n";
    for (const auto& file : opened->swept) {
        output.text += file.string() + ": half-written by a program that ended; removed\n";
        output.json["swept"].push_back(file.string());
    }
    for (const measure::CutOffTake& take : opened->cutOffTakes) {
        output.text +=
            take.audioFile.string() + ": cut off, "
            + (take.problem.empty() ? files::fixedText(take.durationSeconds, 1)
                                          + " s can be used; measure it as any other take\n"
                                    : "nothing can be used: " + take.problem + "\n");
        output.json["cutOffTakes"].push_back({{"file", take.audioFile.string()},
                                              {"durationSeconds", take.durationSeconds},
                                              {"problem", take.problem}});
    }
    if (output.text.empty())
        output.text = folder + ": nothing to put right\n";
    return output;
}

} // namespace

void addJobFolderVerbs(CLI::App& job, Shared& shared)
{
    auto from = std::make_shared<std::string>();
    auto to = std::make_shared<std::string>();
    const auto run = [&shared, from, to](CLI::App* verb, auto action) {
        verb->callback(
            [=, &shared] { shared.action = [=]() -> Outcome { return action(*from, *to); }; });
    };

    CLI::App* copy = addVerb(job, "copy", "Copy a whole job to a new folder");
    addOption(*copy, "folder", *from, "Folder of the job")->required();
    addOption(*copy, "new-folder", *to, "Folder of the copy; must not exist")->required();
    run(copy, runCopy);

    CLI::App* archive = addVerb(job, "archive", "Pack a whole job into one ZIP file");
    addOption(*archive, "folder", *from, "Folder of the job")->required();
    addOption(*archive, "--out", *to, "ZIP file to write; must not exist")->required();
    run(archive, runArchive);

    CLI::App* unpack = addVerb(job, "unpack", "Unpack an archive of a job to a new folder");
    addOption(*unpack, "archive", *from, "ZIP file of the job")->required();
    addOption(*unpack, "--out", *to, "Folder of the job; must not exist")->required();
    run(unpack, runUnpack);

    CLI::App* recover =
        addVerb(job, "recover",
                "Put right what a crash has left: a damaged job.json, half-written files, takes");
    addOption(*recover, "folder", *from, "Folder of the job")->required();
    recover->callback([from, &shared] { shared.action = [from] { return runRecover(*from); }; });
}

} // namespace saddletone::commandline
