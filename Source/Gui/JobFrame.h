#pragma once

#include "Gui/JobMenu.h"
#include "Gui/NextStep.h"
#include "Gui/NoticePanel.h"
#include "Gui/ReportPlace.h"
#include "Gui/TaskStrip.h"
#include "Gui/WelcomePanel.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>

namespace saddletone::gui {

/** What of the window is about the job as a whole, wherever the user is: its menu, the next step,
    progress in the background, what there is to begin with, and the Report place.

    Keys: Ctrl+N new job, Ctrl+O open, Ctrl+W close, Ctrl+Z undo, Ctrl+Shift+Z or Ctrl+Y redo. */
class JobFrame final {
public:
    /** What only the window can do; everything must be set. */
    struct Actions {
        std::function<void(Place)> goTo;
        /** Goes on at once or once the user has said what is to become of an unsaved tuning. */
        std::function<void(std::function<void()>)> askAboutUnsaved;
        std::function<void()> layOut;
    };

    /** window: gets the parts as its children. bench, tuning: may be null. */
    JobFrame(juce::Component& window, JobModel& jobModel, AuditionModel& auditionModel,
             BenchModel* benchModel, TuningModel* tuningModel, Actions windowActions);

    /** isLocked: a blind test runs; nothing of a job can be changed. */
    void show(Place newPlace, const AuditionSnapshot& snapshot, bool isLocked);

    /** Whether there is something else to be seen than the place itself. */
    [[nodiscard]] bool coversPlace() const { return welcome.isVisible() || emptyPanel.isVisible(); }
    /** Whether something waits for an answer before anything else can be done. */
    [[nodiscard]] bool isAsking() const { return recoveryPanel.isVisible(); }
    /** The open job; null if there is none. */
    [[nodiscard]] const OpenJobView* openJob() const { return shown.open.get(); }
    /** What there is to begin with, over the open job too. */
    void begin();

    /** Take room from the right of the heading: for the menu, and for the next step. */
    void placeInHeading(juce::Rectangle<int>& row);
    void placeNextStep(juce::Rectangle<int>& row);
    /** content: where places are. */
    void placeInContent(juce::Rectangle<int> content);
    bool keyPressed(const juce::KeyPress& key);
    void openJob(const juce::File& folder);

    [[nodiscard]] JobMenu& menu() noexcept { return jobMenu; }
    [[nodiscard]] ReportPlace& report() noexcept { return reportPlace; }

private:
    void watch(const AuditionSnapshot& snapshot, const BenchSnapshot& benchSnapshot,
               const TuningSnapshot& tuningSnapshot);
    void closeJob();
    /** What the strip tells of. */
    [[nodiscard]] JobTaskView taskToShow(const JobTaskView& benchWork) const;
    void cancelShown();

    JobModel& model;
    AuditionModel& listening;
    BenchModel* const bench;
    TuningModel* const tuner;
    const Actions actions;
    AuditionSnapshot audition;
    JobSnapshot shown;
    JobTask shownTask = JobTask::none;
    Place place = Place::listen;
    bool isLocked = false;
    bool isBeginning = false; ///< Asked for over an open job.
    juce::File watchedFolder;
    bool hasCompared = false;
    bool hasHeard = false;

    JobMenu jobMenu;
    juce::TextButton menuButton {"Job"};
    NextStepSign nextSign;
    TaskStrip taskStrip;
    WelcomePanel welcome;
    ReportPlace reportPlace;
    NoticePanel emptyPanel {NoticePanel::Kind::safety, "There is nothing to hear yet",
                            "Record at the bike"};
    NoticePanel recoveryPanel {NoticePanel::Kind::safety, "A tuning was not saved last time",
                               "Bring it back"};
};

} // namespace saddletone::gui
