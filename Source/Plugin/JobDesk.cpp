#include "Plugin/JobDesk.h"

#include "Core/Demo/Demo.h"
#include "Core/Job/JobArchive.h"
#include "Core/Job/JobCopy.h"
#include "Core/Job/JobOpening.h"
#include "Core/Job/JobReport.h"
#include "Plugin/Paths.h"

#include <algorithm>

namespace saddletone::plugin {

namespace {

constexpr const char* jobFileName = "job.json";
/** The folders are looked at about every half second. */
constexpr int ticksUntilReading = 15;
/** Progress of opening is shown after as long. */
constexpr int ticksUntilProgress = 15;
constexpr const char* openingWords = "Opening the job";

juce::String quoted(const juce::String& name)
{
    return juce::String::fromUTF8("\xe2\x80\x9c") + name + juce::String::fromUTF8("\xe2\x80\x9d");
}

/** As ISO 8601 has it; the same for everybody who reads it. */
juce::String dateWords(juce::Time time)
{
    return time.formatted("%Y-%m-%d");
}

/** What an edit is called: the one thing that differs. */
std::string editWords(const JobEntries& before, const JobEntries& after)
{
    if (before.fields.title != after.fields.title)
        return "title of the job";
    if (before.fields.bike != after.fields.bike)
        return "bike";
    if (before.fields.shop != after.fields.shop)
        return "shop";
    if (before.fields.question != after.fields.question)
        return "the customer's question";
    return "proposed candidate";
}

/** Reads a job, which is made first where there are fields for it. */
BackgroundTask::Outcome readJob(const juce::File& folder,
                                const std::optional<gui::JobFields>& fieldsOfNew)
{
    if (fieldsOfNew) {
        if (folder.getChildFile(jobFileName).exists())
            return {quoted(folder.getFullPathName()) + " is a job already; choose another folder",
                    true,
                    {}};
        job::Job job;
        job.folder = toPath(folder);
        setEntries(job, {*fieldsOfNew, {}});
        if (const auto saved = job::saveJob(job); !saved)
            return {toText(saved.error().message), true, {}};
    }
    if (const auto job = job::loadJob(toPath(folder)); !job)
        return {toText(job.error().message), true, {}};
    return {{}, false, folder};
}

BackgroundTask::Outcome makeDemoIn(const juce::File& folder,
                                   const BackgroundTask::Progress& progress)
{
    const bool isNew = !folder.exists();
    const auto made =
        demo::runDemo(toPath(folder), dateWords(juce::Time::getCurrentTime()).toStdString(),
                      [&](const std::string& step, double doneProportion) {
                          return progress("Demo job: " + toText(step), doneProportion);
                      });
    if (made)
        return {"The invented demo job is in " + folder.getFullPathName() + ".", false,
                toFile(made->jobFolder)};
    if (isNew)
        folder.deleteRecursively();
    return {progress.isCancelled() ? juce::String("Cancelled; no demo job was made.")
                                   : toText(made.error().message),
            !progress.isCancelled(),
            {}};
}

} // namespace

void JobDesk::Edits::undo()
{
    history.undo();
    if (!desk.store(history.current()))
        history.redo();
}

void JobDesk::Edits::redo()
{
    history.redo();
    if (!desk.store(history.current()))
        history.undo();
}

void JobDesk::Edits::editedElsewhere()
{
    history.forgetRedo();
    history.endRun();
}

void JobDesk::StateEdits::note(const std::string& stateId)
{
    added.push_back({stateId, {"state " + stateId + " added to the job", desk.line.begin(*this)}});
    takenOut.clear();
}

void JobDesk::StateEdits::restart()
{
    added.clear();
    takenOut.clear();
}

std::optional<EditSource::Step> JobDesk::StateEdits::nextUndo()
{
    return added.empty() ? std::nullopt : std::optional(added.back().step);
}

std::optional<EditSource::Step> JobDesk::StateEdits::nextRedo()
{
    return takenOut.empty() ? std::nullopt : std::optional(takenOut.back().step);
}

void JobDesk::StateEdits::undo()
{
    const Added last = added.back();
    job::TakenOutState state;
    const bool isOut = desk.changeStates([&](job::Job& job) -> dsp::Result<void> {
        auto taken = job::takeOutState(job, last.stateId);
        if (!taken)
            return taken.unexpected();
        state = *std::move(taken);
        return {};
    });
    if (!isOut)
        return;
    added.pop_back();
    takenOut.push_back({std::move(state), last.step});
}

void JobDesk::StateEdits::redo()
{
    const TakenOut last = takenOut.back();
    if (!desk.changeStates([&](job::Job& job) { return job::putBackState(job, last.state); }))
        return;
    takenOut.pop_back();
    added.push_back({last.state.state.id, last.step});
}

JobDesk::JobDesk(AuditionProcessor& auditionProcessor, EditLine& editLine,
                 Surroundings surroundings, RecentJobs recentJobs)
    : processor(auditionProcessor),
      line(editLine),
      around(std::move(surroundings)),
      recent(std::move(recentJobs)),
      recentViews(recent.entries())
{
    line.add(edits);
    line.add(stateEdits);
    update();
    startTimerHz(30);
}

JobDesk::~JobDesk()
{
    stopTimer();
    task.cancel();
    reader.removeAllJobs(true, -1);
}

void JobDesk::say(const juce::String& words, bool isProblem)
{
    message = words;
    messageIsProblem = isProblem;
}

juce::File JobDesk::openFolder() const
{
    return open != nullptr ? open->folder : juce::File();
}

JobDesk::Stamp JobDesk::stampOf(const juce::File& folder)
{
    const juce::File file = folder.getChildFile(jobFileName);
    return {file.getLastModificationTime().toMilliseconds(), file.getSize()};
}

void JobDesk::takeLock()
{
    writeLock.reset();
    if (open == nullptr)
        return;
    auto opened = job::openJob(toPath(open->folder));
    if (!opened)
        return; // it has just been read; whatever has become of it is said when it is written
    writeLock = std::move(opened->lock);
    juce::StringArray words;
    for (const std::string& warning : opened->job.warnings)
        words.add(toText(warning));
    if (!opened->readOnlyReason.empty())
        words.add(toText(opened->readOnlyReason));
    if (!opened->cutOffTakes.empty())
        words.add("The end of " + juce::String(opened->cutOffTakes.size())
                  + " take(s) was cut off, by a crash perhaps; what was recorded is in the folder "
                    "takes.");
    if (!words.isEmpty())
        say(words.joinIntoString(" "), true);
}

void JobDesk::show(std::shared_ptr<const gui::OpenJobView> job)
{
    const bool isOther = job == nullptr || open == nullptr || open->folder != job->folder;
    open = std::move(job);
    reportIsMade = false;
    lookAtOnce();
    if (open == nullptr) {
        edits.history.restart({});
    } else if (isOther) {
        edits.history.restart({open->fields, open->proposed});
    } else {
        edits.history.amend({open->fields, open->proposed});
    }
    if (!isOther && open != nullptr)
        return;
    stateEdits.restart();
    takeLock();
    content = nullptr;
    reportProblem.clear();
    reportTime = {};
    if (open == nullptr)
        return;
    recent.add(open->folder, open->fields.title);
    recentViews = recent.entries();
    if (around.keepRecent)
        around.keepRecent(recent);
}

void JobDesk::takeUpOpened()
{
    const AuditionProcessor::OpenedJob now = processor.openedJob();
    if (now.number != openedNumber) {
        openedNumber = now.number;
        if (now.loaded != nullptr) {
            isEmptyJob = false;
            show(openJobView(now.loaded->job));
        } else if (!isEmptyJob) {
            show(nullptr);
        }
    }
    if (isOpening && !processor.isOpeningJob())
        isOpening = false;
}

void JobDesk::takeUpTask()
{
    const std::optional<BackgroundTask::Outcome> outcome = task.take();
    if (!outcome)
        return;
    if (outcome->words.isNotEmpty())
        say(outcome->words, outcome->hasFailed);
    lookAtOnce();
    if (outcome->jobToOpen == juce::File())
        return;
    if (const auto job = job::loadJob(toPath(outcome->jobToOpen)))
        takeUpJob(*job);
    else
        say(toText(job.error().message), true);
}

void JobDesk::takeUpJob(const job::Job& job)
{
    if (job.candidates.empty()) {
        // There is nothing to hear in it, so it is open here alone.
        isEmptyJob = true;
        processor.pause();
        processor.closeJob();
        openedNumber = processor.openedJob().number;
        show(openJobView(job));
    } else {
        isOpening = true;
        processor.openJob(toFile(job.folder));
    }
}

void JobDesk::noteAddedState(const juce::File& folder, const std::string& stateId)
{
    if (open != nullptr && open->folder == folder)
        stateEdits.note(stateId);
}

bool JobDesk::changeStates(const std::function<dsp::Result<void>(job::Job&)>& change)
{
    auto job = job::loadJob(toPath(openFolder()));
    dsp::Result<void> done = job ? change(*job) : dsp::Result<void>(job.unexpected());
    if (done)
        done = job::saveJob(*job);
    if (!done) {
        say(toText(done.error().message), true);
        return false;
    }
    takeUpJob(*job);
    return true;
}

void JobDesk::lookAtOnce()
{
    numTicks = ticksUntilReading;
    ++wish;
}

void JobDesk::orderReading()
{
    if (isReading || ++numTicks < ticksUntilReading)
        return;
    numTicks = 0;
    isReading = true;
    const bool wantsReport = reportIsShown && open != nullptr && open->numStates > 0;
    reader.addJob([this, now = wish, folder = openFolder(), known = reportStamp,
                   isMade = reportIsMade, wantsReport, jobs = recent.entries()] {
        Reading made;
        made.wish = now;
        made.folder = folder;
        made.recent = jobs;
        for (gui::RecentJobView& each : made.recent)
            each.isMissing = !each.folder.getChildFile(jobFileName).existsAsFile();
        if (folder != juce::File()) {
            made.stamp = stampOf(folder);
            made.reportTime = folder.getChildFile(reportFileName).getLastModificationTime();
            if (const auto job = job::loadJob(toPath(folder))) {
                made.open = openJobView(*job);
                made.isOfReport = wantsReport && !(isMade && made.stamp == known);
                if (made.isOfReport) {
                    job::JobReportOptions options;
                    options.dateText = dateWords(juce::Time::getCurrentTime()).toStdString();
                    options.question = made.open->fields.question.toStdString();
                    try {
                        auto worked = job::makeReportContent(*job, options);
                        if (worked)
                            made.content =
                                std::make_shared<const report::ReportContent>(*std::move(worked));
                        else
                            made.problem = toText(worked.error().message);
                    } catch (const std::exception& exception) {
                        made.problem = exception.what();
                    }
                }
            }
        }
        const std::lock_guard lock(readingMutex);
        reading = std::move(made);
    });
}

void JobDesk::takeUpReading()
{
    std::optional<Reading> made;
    {
        const std::lock_guard lock(readingMutex);
        made = std::exchange(reading, std::nullopt);
    }
    if (!made)
        return;
    isReading = false;
    answeredWish = made->wish;
    if (made->recent.size() == recent.entries().size())
        recentViews = std::move(made->recent);
    if (open == nullptr || made->folder != open->folder)
        return;
    reportTime = made->reportTime;
    jobTime = juce::Time(made->stamp.changedMs);
    // What was written here meanwhile is newer.
    if (made->open != nullptr && *made->open != *open && stampOf(open->folder) == made->stamp)
        show(made->open);
    if (made->isOfReport) {
        content = std::move(made->content);
        reportProblem = made->problem;
        reportStamp = made->stamp;
        reportIsMade = true;
    }
}

void JobDesk::update()
{
    processor.update();
    takeUpOpened();
    if (!processor.isOpeningJob())
        takeUpTask();
    takeUpOpened();
    takeUpReading();
    orderReading();
    const bool isAnyOpening =
        isOpening || processor.isOpeningJob() || task.view().task == gui::JobTask::opening;
    numTicksOpening = isAnyOpening ? numTicksOpening + 1 : 0;
}

bool JobDesk::isBusy()
{
    return task.isRunning() || isOpening || processor.isOpeningJob() || answeredWish != wish
           || (open != nullptr && reportIsShown && open->numStates > 0 && !reportIsMade);
}

gui::JobSnapshot JobDesk::jobSnapshot()
{
    gui::JobSnapshot snapshot;
    snapshot.open = open;
    snapshot.recent = recentViews;
    snapshot.task = task.view();
    if (snapshot.task.task == gui::JobTask::none && (isOpening || processor.isOpeningJob()))
        snapshot.task = {gui::JobTask::opening, openingWords, -1.0};
    // What is over at once is not worth a word.
    if (snapshot.task.task == gui::JobTask::opening && numTicksOpening < ticksUntilProgress)
        snapshot.task = {};
    snapshot.message = message;
    snapshot.messageIsProblem = messageIsProblem;
    if (!processor.blindTests().isRunning()) {
        if (const auto step = line.nextUndo())
            snapshot.undoWords = toText(step->words);
        if (const auto step = line.nextRedo())
            snapshot.redoWords = toText(step->words);
    }
    if (open == nullptr)
        return snapshot;
    gui::ReportView& report = snapshot.report;
    report.content = content;
    report.problem = reportProblem;
    report.isBeingMade = reportIsShown && !reportIsMade;
    if (reportTime == juce::Time())
        return snapshot;
    report.written = open->folder.getChildFile(reportFileName);
    report.writtenWords = "Written " + reportTime.formatted("%Y-%m-%d %H:%M") + ": "
                          + report.written.getFullPathName();
    if (jobTime > reportTime)
        report.writtenWords << ". The job has changed since.";
    return snapshot;
}

void JobDesk::startOpening(const juce::File& folder,
                           const std::optional<gui::JobFields>& fieldsOfNew)
{
    if (task.isRunning() || processor.blindTests().isRunning())
        return;
    message.clear();
    task.start(gui::JobTask::opening, openingWords,
               [folder, fieldsOfNew](const BackgroundTask::Progress& progress) {
                   BackgroundTask::Outcome outcome = readJob(folder, fieldsOfNew);
                   if (progress.isCancelled())
                       outcome.jobToOpen = juce::File();
                   return outcome;
               });
}

void JobDesk::openJob(const juce::File& folder)
{
    startOpening(folder.getFileName() == jobFileName ? folder.getParentDirectory() : folder, {});
}

void JobDesk::newJob(const juce::File& folder, const gui::JobFields& fields)
{
    gui::JobFields named = fields;
    if (named.title.isEmpty())
        named.title = folder.getFileName();
    startOpening(folder, named);
}

void JobDesk::closeJob()
{
    if (task.isRunning() || processor.blindTests().isRunning())
        return;
    isEmptyJob = false;
    message.clear();
    processor.pause();
    processor.closeJob();
    openedNumber = processor.openedJob().number;
    show(nullptr);
}

juce::File JobDesk::folderForNewJob(const juce::String& title)
{
    juce::String name = juce::File::createLegalFileName(title.trim()).substring(0, 80).trim();
    if (name.isEmpty() || name.containsOnly("."))
        name = "New job";
    return around.jobsFolder.getChildFile(name).getNonexistentSibling();
}

void JobDesk::makeDemo(const juce::File& folder)
{
    if (task.isRunning())
        return;
    const juce::File target = folder != juce::File()
                                  ? folder.getChildFile(around.demoFolder.getFileName())
                                  : around.demoFolder;
    if (const juce::File made = target.getChildFile("job");
        made.getChildFile(jobFileName).exists()) {
        openJob(made);
        return;
    }
    message.clear();
    task.start(gui::JobTask::demo, "Making the demo job",
               [target](const BackgroundTask::Progress& progress) {
                   return makeDemoIn(target, progress);
               });
}

void JobDesk::transfer(gui::JobTask kind, const juce::String& words, const juce::String& doneWords,
                       std::function<dsp::Result<job::Transferred>(const job::TransferHooks&)> work,
                       const juce::File& jobToOpen)
{
    if (task.isRunning())
        return;
    message.clear();
    task.start(kind, words,
               [words, doneWords, jobToOpen,
                work = std::move(work)](const BackgroundTask::Progress& progress) {
                   job::TransferHooks hooks;
                   hooks.isCancelled = [&progress] { return progress.isCancelled(); };
                   hooks.onProgress = [&progress, &words](const job::TransferProgress& now) {
                       progress(words, now.bytesTotal > 0
                                           ? static_cast<double>(now.bytesDone)
                                                 / static_cast<double>(now.bytesTotal)
                                           : -1.0);
                   };
                   const auto done = work(hooks);
                   if (!done)
                       return BackgroundTask::Outcome {toText(done.error().message), true, {}};
                   if (done->isCancelled)
                       return BackgroundTask::Outcome {"Cancelled; nothing was made.", false, {}};
                   juce::String said = doneWords;
                   if (!done->problems.empty())
                       said << " In the job itself: " << toText(done->problems.front());
                   return BackgroundTask::Outcome {said, !done->problems.empty(), jobToOpen};
               });
}

void JobDesk::copyJob(const juce::File& newFolder)
{
    if (open == nullptr)
        return;
    transfer(gui::JobTask::copying, "Copying the job",
             "The copy is in " + newFolder.getFullPathName() + ". The job itself stays open.",
             [from = toPath(open->folder), to = toPath(newFolder)](const auto& hooks) {
                 return job::copyJob(from, to, hooks);
             });
}

void JobDesk::archiveJob(const juce::File& zipFile)
{
    if (open == nullptr)
        return;
    transfer(gui::JobTask::archiving, "Packing the job",
             "The whole job is in " + zipFile.getFullPathName() + ".",
             [from = toPath(open->folder), to = toPath(zipFile)](const auto& hooks) {
                 return job::archiveJob(from, to, hooks);
             });
}

void JobDesk::unpackJob(const juce::File& zipFile)
{
    const juce::File folder = folderForNewJob(zipFile.getFileNameWithoutExtension());
    transfer(
        gui::JobTask::unpacking, "Unpacking the job",
        "The job is in " + folder.getFullPathName() + ".",
        [from = toPath(zipFile), to = toPath(folder),
         parent = around.jobsFolder](const job::TransferHooks& hooks) {
            if (const juce::Result made = parent.createDirectory(); made.failed())
                return dsp::Result<job::Transferred>(
                    dsp::fail(dsp::ErrorCode::cannotWrite, made.getErrorMessage().toStdString()));
            return job::unpackJob(from, to, hooks);
        },
        folder);
}

void JobDesk::cancelTask()
{
    task.cancel();
    if (!isOpening && !processor.isOpeningJob())
        return;
    processor.cancelOpeningJob();
    isOpening = false;
    say("Cancelled; the job was not opened.", false);
}

bool JobDesk::store(const JobEntries& entries)
{
    auto job = job::loadJob(toPath(openFolder()));
    if (!job) {
        say(toText(job.error().message), true);
        return false;
    }
    setEntries(*job, entries);
    if (const auto saved = job::saveJob(*job); !saved) {
        say(toText(saved.error().message), true);
        return false;
    }
    open = openJobView(*job);
    reportIsMade = false;
    lookAtOnce();
    recent.add(open->folder, open->fields.title);
    if (around.keepRecent)
        around.keepRecent(recent);
    return true;
}

void JobDesk::edit(const JobEntries& entries)
{
    if (open == nullptr || processor.blindTests().isRunning())
        return;
    const JobEntries before {open->fields, open->proposed};
    if (entries == before || !store(entries))
        return;
    EditStep step;
    step.words = editWords(before, entries);
    step.order = line.begin(edits);
    edits.history.apply(entries, std::move(step));
}

void JobDesk::setFields(const gui::JobFields& fields)
{
    if (open != nullptr)
        edit({fields, open->proposed});
}

void JobDesk::setProposed(std::optional<std::size_t> candidate)
{
    if (open != nullptr)
        edit({open->fields, candidate});
}

void JobDesk::writeReport()
{
    if (open == nullptr || task.isRunning())
        return;
    message.clear();
    task.start(
        gui::JobTask::reporting, "Writing the report",
        [folder = open->folder](const BackgroundTask::Progress& progress) {
            const juce::File file = folder.getChildFile(reportFileName);
            const auto job = job::loadJob(toPath(folder));
            if (!job)
                return BackgroundTask::Outcome {toText(job.error().message), true, {}};
            job::JobReportOptions options;
            options.dateText = dateWords(juce::Time::getCurrentTime()).toStdString();
            options.question = entriesOf(*job).fields.question.toStdString();
            if (progress.isCancelled())
                return BackgroundTask::Outcome {"Cancelled; no report was written.", false, {}};
            const auto written =
                job::writeJobReport(*job, toPath(file), options, [&progress](double share) {
                    return progress("Writing the report", share);
                });
            if (!written && progress.isCancelled())
                return BackgroundTask::Outcome {"Cancelled; no report was written.", false, {}};
            if (!written)
                return BackgroundTask::Outcome {toText(written.error().message), true, {}};
            return BackgroundTask::Outcome {"The report is written: " + file.getFileName()
                                                + " in the job's folder.",
                                            false,
                                            {}};
        });
}

void JobDesk::openReport()
{
    if (open == nullptr || !around.openFile)
        return;
    const juce::File file = open->folder.getChildFile(reportFileName);
    if (file.existsAsFile())
        around.openFile(file);
    else
        say(file.getFullPathName() + " is no longer there; write the report again.", true);
}

void JobDesk::showJobFolder()
{
    if (open != nullptr && around.showFolder)
        around.showFolder(open->folder);
}

bool JobDesk::fitsAtScale(int percent) const
{
    return !around.fitsAtScale || around.fitsAtScale(percent);
}

void JobDesk::setScalePercent(int percent)
{
    scale = percent;
    if (around.setScalePercent)
        around.setScalePercent(percent);
}

void JobDesk::undo()
{
    if (processor.blindTests().isRunning())
        return;
    say({}, false);
    if (const std::string words = line.undo(); !words.empty() && !messageIsProblem)
        say("Taken back: " + toText(words) + ".", false);
}

void JobDesk::redo()
{
    if (processor.blindTests().isRunning())
        return;
    say({}, false);
    if (const std::string words = line.redo(); !words.empty() && !messageIsProblem)
        say("Made again: " + toText(words) + ".", false);
}

} // namespace saddletone::plugin
