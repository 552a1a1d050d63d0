#include "Gui/JobFrame.h"

#include "Gui/CommandKey.h"
#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

JobFrame::JobFrame(juce::Component& window, JobModel& jobModel, AuditionModel& auditionModel,
                   BenchModel* benchModel, TuningModel* tuningModel, Actions windowActions)
    : model(jobModel),
      listening(auditionModel),
      bench(benchModel),
      tuner(tuningModel),
      actions(std::move(windowActions)),
      jobMenu(jobModel, auditionModel,
              {.newJob = [this] { begin(); },
               .openJob = [this](const juce::File& folder) { openJob(folder); },
               .closeJob = [this] { closeJob(); },
               .undo = [this] { model.undo(); },
               .redo = [this] { model.redo(); }}),
      welcome(jobModel),
      reportPlace(jobModel)
{
    addControl(window, menuButton, "Job menu",
               "New, open, copy, close, undo, units and the look of the window.");
    menuButton.onClick = [this] { jobMenu.showBelow(menuButton, audition, isLocked); };
    nextSign.onGo = [this](Place next) { actions.goTo(next); };
    window.addChildComponent(nextSign);
    taskStrip.onCancel = [this] { cancelShown(); };
    taskStrip.onDismiss = [this] { model.dismissMessage(); };
    window.addChildComponent(taskStrip);
    welcome.onBegin = [this](std::function<void()> open) {
        actions.askAboutUnsaved([this, open = std::move(open)] {
            isBeginning = false;
            open();
        });
    };
    welcome.onTracks = [this] {
        isBeginning = false;
        actions.goTo(Place::signals);
    };
    welcome.onOpen = [this] { jobMenu.chooseJob(); };
    welcome.onBack = [this] {
        isBeginning = false;
        actions.layOut();
    };
    window.addChildComponent(welcome);
    reportPlace.onGo = [this](Place next) { actions.goTo(next); };
    window.addChildComponent(reportPlace);
    emptyPanel.setText("The job has no measured bike in it. Bring the test tracks to the bike, "
                       "record them at the rider's head, once with the engine off and once with "
                       "it running, and add what was measured to the job.");
    emptyPanel.onDismiss = [this] { actions.goTo(Place::bike); };
    window.addChildComponent(emptyPanel);
    recoveryPanel.setDecline("Leave it as saved");
    recoveryPanel.holdInput();
    recoveryPanel.onDismiss = [this] {
        tuner->answerRecovery(true);
        recoveryPanel.setVisible(false);
        actions.goTo(Place::tuning);
    };
    recoveryPanel.onDecline = [this] {
        tuner->answerRecovery(false);
        recoveryPanel.setVisible(false);
    };
    window.addChildComponent(recoveryPanel);
}

void JobFrame::watch(const AuditionSnapshot& snapshot, const BenchSnapshot& benchSnapshot,
                     const TuningSnapshot& tuningSnapshot)
{
    const juce::File folder = shown.open != nullptr ? shown.open->folder : juce::File();
    if (folder != watchedFolder) {
        watchedFolder = folder;
        hasCompared = false;
        hasHeard = false;
    }
    if (place == Place::bike && benchSnapshot.comparison != nullptr)
        hasCompared = true;
    const auto& candidates = tuningSnapshot.candidates;
    if ((place == Place::listen || place == Place::tuning) && snapshot.player.playing
        && snapshot.candidate < candidates.size() && candidates[snapshot.candidate].numElements > 0)
        hasHeard = true;
}

void JobFrame::show(Place newPlace, const AuditionSnapshot& snapshot, bool nowLocked)
{
    if (newPlace != place) {
        place = newPlace;
        isBeginning = false;
    }
    isLocked = nowLocked;
    audition = snapshot;
    const auto oldJob = shown.open;
    shown = model.jobSnapshot();
    if (oldJob != shown.open && shown.open != nullptr
        && (oldJob == nullptr || oldJob->folder != shown.open->folder))
        isBeginning = false;
    model.setReportShown(place == Place::report);
    const BenchSnapshot benchSnapshot = bench != nullptr ? bench->benchSnapshot() : BenchSnapshot();
    const TuningSnapshot tuningSnapshot =
        tuner != nullptr ? tuner->tuningSnapshot() : TuningSnapshot();
    watch(snapshot, benchSnapshot, tuningSnapshot);

    menuButton.setEnabled(!isLocked);
    const JobTaskView task = taskToShow(benchSnapshot.work);
    shownTask = task.task;
    taskStrip.show(task, shown.message, shown.messageIsProblem);
    // Signals and Bike are of use without a job.
    const bool needsJob = place != Place::signals && place != Place::bike;
    const bool coversNow = !isLocked && (isBeginning || (needsJob && shown.open == nullptr));
    if (coversNow)
        welcome.show(shown);
    std::optional<NextStep> next;
    if (!isLocked && !coversNow && !taskStrip.isVisible()) {
        JobProgress progress = progressOf(snapshot, benchSnapshot, tuningSnapshot, shown);
        progress.hasCompared = hasCompared;
        progress.hasHeard = hasHeard;
        next = nextStepAt(place, progress);
    }
    nextSign.show(next, place);
    if (place == Place::report)
        reportPlace.show(shown, tuningSnapshot.hasUnsaved);
    const bool asksNow = tuningSnapshot.recoveryWords.isNotEmpty() && !isLocked;
    if (recoveryPanel.getText() != tuningSnapshot.recoveryWords
        || recoveryPanel.isVisible() != asksNow) {
        recoveryPanel.setText(tuningSnapshot.recoveryWords);
        recoveryPanel.setVisible(asksNow);
        recoveryPanel.toFront(false);
        actions.layOut();
        if (recoveryPanel.isShowing())
            recoveryPanel.grabKeyboardFocus();
    }
    const bool isEmptyNow = !coversNow && (place == Place::tuning || place == Place::listen)
                            && shown.open != nullptr && shown.open->candidates.isEmpty();
    const bool showsReport = place == Place::report && !coversNow;
    if (coversNow != welcome.isVisible() || isEmptyNow != emptyPanel.isVisible()
        || showsReport != reportPlace.isVisible()) {
        welcome.setVisible(coversNow);
        emptyPanel.setVisible(isEmptyNow);
        reportPlace.setVisible(showsReport);
        actions.layOut();
    }
}

JobTaskView JobFrame::taskToShow(const JobTaskView& benchWork) const
{
    if (shown.task.task != JobTask::none)
        return shown.task;
    if (benchWork.task != JobTask::none)
        return benchWork;
    // Of a job that is being opened the model of jobs knows itself.
    return audition.opening.task == JobTask::programme ? audition.opening : JobTaskView {};
}

void JobFrame::cancelShown()
{
    if (shownTask == JobTask::programme)
        listening.cancelOpening();
    else if (shownTask == JobTask::bench)
        bench->cancelWork();
    else
        model.cancelTask();
}

void JobFrame::begin()
{
    isBeginning = true;
    show(place, audition, isLocked);
    welcome.beginTyping();
}

void JobFrame::openJob(const juce::File& folder)
{
    actions.askAboutUnsaved([this, folder] {
        isBeginning = false;
        model.openJob(folder);
    });
}

void JobFrame::closeJob()
{
    actions.askAboutUnsaved([this] { model.closeJob(); });
}

void JobFrame::placeInHeading(juce::Rectangle<int>& row)
{
    menuButton.setBounds(row.removeFromRight(80).withSizeKeepingCentre(80, 36));
    row.removeFromRight(8);
}

void JobFrame::placeNextStep(juce::Rectangle<int>& row)
{
    const auto area = row.removeFromRight(std::clamp(row.getWidth() * 2 / 5, 240, 380));
    nextSign.setBounds(area.reduced(0, 2));
    taskStrip.setBounds(area.reduced(0, 2));
    row.removeFromRight(8);
}

void JobFrame::placeInContent(juce::Rectangle<int> content)
{
    welcome.setBounds(content);
    reportPlace.setBounds(content);
    const int width = std::min(640, content.getWidth() - 60);
    for (NoticePanel* const panel : {&emptyPanel, &recoveryPanel})
        panel->setBounds(content.withSizeKeepingCentre(width, panel->heightFor(width)));
}

bool JobFrame::keyPressed(const juce::KeyPress& key)
{
    const juce::ModifierKeys keys = key.getModifiers();
    if (!keys.isCommandDown() || keys.isAltDown() || isLocked)
        return false;
    const auto isLetter = [&key](char letter) { return isLetterKey(key, letter); };
    const bool isFree = shown.task.task == JobTask::none;
    if (isLetter('z') && !keys.isShiftDown())
        model.undo();
    else if (isLetter('z') || (isLetter('y') && !keys.isShiftDown()))
        model.redo();
    else if (isLetter('n') && isFree)
        begin();
    else if (isLetter('o') && isFree)
        jobMenu.chooseJob();
    else if (isLetter('w') && isFree && shown.open != nullptr)
        closeJob();
    else
        return false;
    return true;
}

} // namespace saddletone::gui
