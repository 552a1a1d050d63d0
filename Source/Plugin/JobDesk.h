#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/JobFiles.h"
#include "Core/Job/JobLock.h"
#include "Core/Job/StateRemoval.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/BackgroundTask.h"
#include "Plugin/EditHistory.h"
#include "Plugin/EditLine.h"
#include "Plugin/JobFacts.h"
#include "Plugin/RecentJobs.h"

#include <functional>
#include <mutex>
#include <optional>

namespace saddletone::plugin {

/** Jobs as a whole: opening, making and closing them, what is typed about the open one, its report,
    and undo over the whole program.

    A job with something to hear is opened in the processor as well; an empty one is open here alone.
    Folders are read and written in the background, but for job.json itself, which is small and is
    written in turn with everybody else who changes it from the message thread. */
class JobDesk final : public gui::JobModel, private juce::Timer {
public:
    /** What the desk needs of the program around it; the functions may be empty. */
    struct Surroundings {
        juce::File jobsFolder;                             ///< New jobs are made in it.
        juce::File demoFolder;                             ///< The demo is made in it.
        std::function<void(const juce::File&)> openFile;   ///< With the program for it.
        std::function<void(const juce::File&)> showFolder; ///< In the file manager.
        std::function<void(const RecentJobs&)> keepRecent; ///< They have changed.
        int scalePercent = 100;                            ///< To begin with.
        std::function<bool(int)> fitsAtScale;              ///< Empty: everything does.
        std::function<void(int)> setScalePercent;          ///< Applies it and keeps it.
    };

    static constexpr const char* reportFileName = "report.html";

    /** Processor and line must outlive this. */
    JobDesk(AuditionProcessor& auditionProcessor, EditLine& editLine, Surroundings surroundings,
            RecentJobs recentJobs = {});
    ~JobDesk() override;
    JobDesk(const JobDesk&) = delete;
    JobDesk& operator=(const JobDesk&) = delete;

    /** Takes up what has been done; a timer does so 30 times a second. */
    void update();
    /** Something is being done, read or worked out. */
    [[nodiscard]] bool isBusy();
    /** Of the open job; no file: none is open. */
    [[nodiscard]] juce::File openFolder() const;
    /** A state was added to a job, by id, from the program itself: undo takes it out again if the
        job is open. What was measured stays in the folder. */
    void noteAddedState(const juce::File& folder, const std::string& stateId);

    gui::JobSnapshot jobSnapshot() override;
    void openJob(const juce::File& folder) override;
    void closeJob() override;
    void newJob(const juce::File& folder, const gui::JobFields& fields) override;
    [[nodiscard]] juce::File folderForNewJob(const juce::String& title) override;
    void makeDemo(const juce::File& folder) override;
    void copyJob(const juce::File& newFolder) override;
    void archiveJob(const juce::File& zipFile) override;
    void unpackJob(const juce::File& zipFile) override;
    void cancelTask() override;
    void setFields(const gui::JobFields& fields) override;
    void setProposed(std::optional<std::size_t> candidate) override;
    void setReportShown(bool isShown) override { reportIsShown = isShown; }
    void writeReport() override;
    void openReport() override;
    void showJobFolder() override;
    [[nodiscard]] int scalePercent() const override { return scale; }
    [[nodiscard]] bool fitsAtScale(int percent) const override;
    void setScalePercent(int percent) override;
    void undo() override;
    void redo() override;
    void dismissMessage() override { message.clear(); }

private:
    /** The edits of what is typed and chosen. */
    class Edits final : public EditSource {
    public:
        explicit Edits(JobDesk& owner) : desk(owner) {}

        std::optional<Step> nextUndo() override { return history.nextUndoStep(); }
        std::optional<Step> nextRedo() override { return history.nextRedoStep(); }
        void undo() override;
        void redo() override;
        void editedElsewhere() override;
        void movedElsewhere() override { history.endRun(); }

        EditHistory<JobEntries> history;

    private:
        JobDesk& desk;
    };

    /** The states added to the open job. Undo takes one out with what rests on it, and leaves its
        files alone; redo puts all of that back. */
    class StateEdits final : public EditSource {
    public:
        explicit StateEdits(JobDesk& owner) : desk(owner) {}

        void note(const std::string& stateId);
        void restart();

        std::optional<Step> nextUndo() override;
        std::optional<Step> nextRedo() override;
        void undo() override;
        void redo() override;
        void editedElsewhere() override { takenOut.clear(); }
        void movedElsewhere() override {}

    private:
        struct Added {
            std::string stateId;
            Step step;
        };
        struct TakenOut {
            job::TakenOutState state;
            Step step;
        };

        JobDesk& desk;
        std::vector<Added> added;
        std::vector<TakenOut> takenOut;
    };

    /** What the files of the open job looked like when they were read. */
    struct Stamp {
        juce::int64 changedMs = 0;
        juce::int64 numBytes = 0;

        bool operator==(const Stamp&) const = default;
    };

    /** What is read in the background of the open job and of the recent ones. */
    struct Reading {
        std::uint64_t wish = 0; ///< The last one before it was begun.
        juce::File folder;
        std::shared_ptr<const gui::OpenJobView> open; ///< Null: it was not read again.
        Stamp stamp;
        std::shared_ptr<const report::ReportContent> content;
        juce::String problem; ///< Of the report.
        bool isOfReport = false;
        juce::Time reportTime; ///< Of the report's file; zero: there is none.
        std::vector<gui::RecentJobView> recent;
    };

    void timerCallback() override { update(); }
    void say(const juce::String& words, bool isProblem);
    /** Copies, packs or unpacks in the background. doneWords: what is said when it is done;
        jobToOpen: what is opened then, if anything is. */
    void transfer(gui::JobTask kind, const juce::String& words, const juce::String& doneWords,
                  std::function<dsp::Result<job::Transferred>(const job::TransferHooks&)> work,
                  const juce::File& jobToOpen = {});
    /** fieldsOfNew: of a job that is made first; nothing: it is there. */
    void startOpening(const juce::File& folder, const std::optional<gui::JobFields>& fieldsOfNew);
    void takeUpTask();
    /** Opens a job that has been read: in the processor, or here alone if there is nothing to hear. */
    void takeUpJob(const job::Job& job);
    /** Changes the open job's states and reads it again; false: it failed, and the message says why. */
    [[nodiscard]] bool changeStates(const std::function<dsp::Result<void>(job::Job&)>& change);
    void takeUpOpened();
    void takeUpReading();
    void orderReading();
    /** Something was changed here: the folders are looked at at once. */
    void lookAtOnce();
    void show(std::shared_ptr<const gui::OpenJobView> job);
    /** Takes the right to write to the open job, for as long as it is open, and says what is wrong. */
    void takeLock();
    /** Writes them into job.json; false: it failed, and the message says why. */
    [[nodiscard]] bool store(const JobEntries& entries);
    void edit(const JobEntries& entries);
    [[nodiscard]] static Stamp stampOf(const juce::File& folder);

    AuditionProcessor& processor;
    EditLine& line;
    const Surroundings around;
    int scale = around.scalePercent;
    RecentJobs recent;
    std::vector<gui::RecentJobView> recentViews;
    Edits edits {*this};
    StateEdits stateEdits {*this};

    std::uint64_t openedNumber = 0;
    std::shared_ptr<const gui::OpenJobView> open; ///< Null: no job is open.
    std::optional<job::JobLock> writeLock; ///< Of the open job; none: another program has it.
    bool isEmptyJob = false;               ///< It is open here alone.
    bool isOpening = false;                ///< The processor reads it.
    int numTicksOpening = 0;
    bool reportIsShown = false;
    Stamp reportStamp;         ///< Of the job that content was made from.
    bool reportIsMade = false; ///< content or reportProblem are of reportStamp.
    std::shared_ptr<const report::ReportContent> content;
    juce::String reportProblem;
    juce::Time reportTime;
    juce::Time jobTime; ///< job.json was changed last.
    juce::String message;
    bool messageIsProblem = false;

    BackgroundTask task;
    int numTicks = 0;
    bool isReading = false;
    std::uint64_t wish = 0; ///< To look at the folders.
    std::uint64_t answeredWish = 0;
    std::mutex readingMutex; // never taken by the audio thread
    std::optional<Reading> reading;

    juce::ThreadPool reader {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
