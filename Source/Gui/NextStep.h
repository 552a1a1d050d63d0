#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/BenchModel.h"
#include "Gui/JobModel.h"
#include "Gui/TuningModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <optional>

namespace saddletone::gui {

/** What is worth doing next, and where. */
struct NextStep {
    juce::String words; ///< "Two states measured: compare them".
    Place place = Place::signals;

    bool operator==(const NextStep&) const = default;
};

/** How far a job has come, from what the screens know. */
struct JobProgress {
    bool hasJob = false;
    bool isRead = true;          ///< What the job has of states is known.
    std::size_t numParked = 0;   ///< Measured states with the engine off, in the job.
    std::size_t numRunning = 0;  ///< And with it running.
    std::size_t numNotInJob = 0; ///< Measured since the start, not in the job yet.
    bool canCompare = false;     ///< Parked and running of one profile stand beside each other.
    bool hasCompared = false;    ///< That has been looked at since the job was opened.
    bool hasFitted = false;      ///< A candidate has a tuning.
    bool hasUnsaved = false;
    bool hasProgramme = false;
    bool hasHeard = false; ///< Music was played through a tuned candidate since the job was opened.
    bool hasBlindRun = false;
    bool hasReport = false;
};

/** Without hasCompared and hasHeard, which only who watches the screens can tell. */
[[nodiscard]] JobProgress progressOf(const AuditionSnapshot& audition, const BenchSnapshot& bench,
                                     const TuningSnapshot& tuning, const JobSnapshot& job);

/** The next useful step seen from a place; nothing where the program itself asks for one. */
[[nodiscard]] std::optional<NextStep> nextStepAt(Place place, const JobProgress& progress);

/** A signpost in the heading with the next step; pressing it goes there. */
class NextStepSign final : public juce::Button {
public:
    NextStepSign();

    std::function<void(Place)> onGo;

    /** Nothing: the sign is taken down. */
    void show(const std::optional<NextStep>& step, Place here);
    /** The words on it; empty without a step. */
    [[nodiscard]] juce::String words() const { return getTitle(); }

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override;

private:
    std::optional<NextStep> shown;
    juce::String where;
};

} // namespace saddletone::gui
