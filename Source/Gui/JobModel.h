#pragma once

#include "Core/Report/ReportContent.h"
#include "Gui/TaskView.h"

#include <juce_core/juce_core.h>

#include <cstddef>
#include <memory>
#include <optional>
#include <vector>

namespace saddletone::gui {

/** What is typed about a job; it is in the job's folder as soon as it has been typed. */
struct JobFields {
    juce::String title;
    juce::String bike;
    juce::String shop;
    juce::String question; ///< The customer's, in their words; empty: the usual one.

    bool operator==(const JobFields&) const = default;
};

/** The open job, which may be an empty one with nothing to be heard yet. */
struct OpenJobView {
    juce::File folder;
    JobFields fields;
    bool invented = false;
    std::size_t numStates = 0;
    juce::StringArray candidates;
    std::optional<std::size_t> proposed; ///< Of the candidates: what the shop proposes.
    std::size_t numBlindRuns = 0;

    bool operator==(const OpenJobView&) const = default;
};

/** A job that was open before. */
struct RecentJobView {
    juce::File folder;
    juce::String title;
    bool isMissing = false; ///< Its folder is not there now.

    bool operator==(const RecentJobView&) const = default;
};

/** The report as it would be written now, and what was written last. */
struct ReportView {
    std::shared_ptr<const report::ReportContent> content; ///< Null: none yet, see the next two.
    bool isBeingMade = false;
    juce::String problem;      ///< Why there is none; empty = nothing.
    juce::File written;        ///< The file; no file: none was written.
    juce::String writtenWords; ///< When it was written, and whether the job has changed since.
};

/** Everything the screens need to know of the job as a whole, at one moment. */
struct JobSnapshot {
    std::shared_ptr<const OpenJobView> open; ///< Null: no job is open.
    std::vector<RecentJobView> recent;       ///< The last one first.
    JobTaskView task;
    ReportView report;
    juce::String undoWords; ///< The edit that undo() would take back; empty = there is none.
    juce::String redoWords;
    juce::String message; ///< What the last command led to; empty = nothing to say.
    bool messageIsProblem = false;
};

/** What the screens see of jobs as a whole. All of it is for the message thread. What takes a while
    is done in the background, one thing at a time, and can be cancelled. */
class JobModel {
public:
    virtual ~JobModel() = default;

    [[nodiscard]] virtual JobSnapshot jobSnapshot() = 0;

    /** folder: of a job, or the job.json in one. */
    virtual void openJob(const juce::File& folder) = 0;
    virtual void closeJob() = 0;
    /** Makes an empty job and opens it. Refused: a folder that is a job already. */
    virtual void newJob(const juce::File& folder, const JobFields& fields) = 0;
    /** A folder for a new job of this title, in the user's documents, that is not there yet. */
    [[nodiscard]] virtual juce::File folderForNewJob(const juce::String& title) = 0;
    /** Makes the invented demo job in a folder and opens it. No file: in the user's documents, where
        one from before is opened again. */
    virtual void makeDemo(const juce::File& folder) = 0;
    /** Copies the open job to a folder that is not there yet; the open one stays open. */
    virtual void copyJob(const juce::File& newFolder) = 0;
    /** Packs the open job into a ZIP file that is not there yet. */
    virtual void archiveJob(const juce::File& zipFile) = 0;
    /** Unpacks an archive beside the user's other jobs and opens it. */
    virtual void unpackJob(const juce::File& zipFile) = 0;
    virtual void cancelTask() = 0;

    virtual void setFields(const JobFields& fields) = 0;
    /** Nothing: none of the candidates is proposed. */
    virtual void setProposed(std::optional<std::size_t> candidate) = 0;

    /** The report is looked at, or no longer: only then it is worked out. */
    virtual void setReportShown(bool isShown) = 0;
    virtual void writeReport() = 0;
    virtual void openReport() = 0;
    /** Shows the open job's folder with the system's file manager. */
    virtual void showJobFolder() = 0;

    /** How large everything is drawn, 100 to 200 %. */
    [[nodiscard]] virtual int scalePercent() const = 0;
    /** Whether the smallest window fits on the display when drawn that large. */
    [[nodiscard]] virtual bool fitsAtScale(int percent) const = 0;
    virtual void setScalePercent(int percent) = 0;

    /** The last edit, wherever it was made. */
    virtual void undo() = 0;
    virtual void redo() = 0;
    virtual void dismissMessage() = 0;
};

} // namespace saddletone::gui
