#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/JobModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>

namespace saddletone::gui {

/** The menu of the open job: opening and keeping jobs, undo, and how things are shown. */
class JobMenu final {
public:
    /** What the menu cannot do by itself; everything must be set. */
    struct Actions {
        std::function<void()> newJob;
        std::function<void(const juce::File&)> openJob;
        std::function<void()> closeJob;
        std::function<void()> undo;
        std::function<void()> redo;
    };

    JobMenu(JobModel& jobModel, AuditionModel& auditionModel, Actions menuActions);

    /** The menu as it is now. isLocked: a blind test runs, and nothing may be changed. */
    [[nodiscard]] juce::PopupMenu make(const AuditionSnapshot& audition, bool isLocked);
    void showBelow(juce::Component& button, const AuditionSnapshot& audition, bool isLocked);

    /** Asks for a job's folder and opens it. */
    void chooseJob();

private:
    void chooseCopy();
    void chooseArchive();
    void chooseUnpacking();
    [[nodiscard]] juce::PopupMenu recentMenu(const JobSnapshot& snapshot, bool isFree);
    void choose(const juce::String& title, const juce::File& start, int flags,
                const juce::String& pattern, std::function<void(const juce::File&)> onChosen);

    JobModel& jobs;
    AuditionModel& audition;
    const Actions actions;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
