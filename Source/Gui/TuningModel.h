#pragma once

#include "Core/Tuning/FitTarget.h"
#include "Core/Tuning/Tuning.h"

#include <juce_core/juce_core.h>

#include <cstddef>
#include <memory>
#include <optional>
#include <vector>

namespace saddletone::gui {

/** An element of the tuning that is edited. */
struct DraftElement {
    tuning::Element element;
    tuning::OutputGroup group = tuning::OutputGroup::all;
    bool isOn = true; ///< Off: kept, but neither heard nor exported.

    bool operator==(const DraftElement&) const = default;
};

/** A candidate as its plate shows it. */
struct TuningCandidate {
    juce::String name;
    juce::String stateName; ///< The measurement it is made from.
    std::size_t numElements = 0;
    bool isUnsaved = false;
    bool isBeside = false; ///< Its curve is drawn beside that of the edited one.
};

/** What the plot shows, in dB about the mean of the edited candidate's trusted measured curve, over
    twelfths of an octave. */
struct TuningCurves {
    /** Another candidate's predicted curve, about the mean of its own measured one. */
    struct Beside {
        std::size_t candidate = 0;
        std::vector<double> levelsDb;
    };

    std::vector<double> frequenciesHz; ///< Exact, 20 Hz to 20 kHz.
    std::vector<double> measuredDb;
    std::vector<bool> isTrusted;
    std::vector<double> predictedDb; ///< Left and right averaged in power.
    std::vector<double> targetDb;    ///< At the level at which predictedDb strays least.
    std::vector<Beside> beside;
    juce::String words; ///< How far from the target, before and after.
};

enum class TargetKind { flat, bassShelf, file };

struct TargetChoice {
    TargetKind kind = TargetKind::flat;
    tuning::BassShelf bassShelf {.gainDb = 6.0, .frequencyHz = 120.0};
    juce::File file; ///< Of TargetKind::file.

    bool operator==(const TargetChoice&) const = default;
};

/** What a fit of filters may do. */
struct FitChoice {
    int numFilters = 6;      ///< 1 to 10.
    double maxBoostDb = 6.0; ///< 0 to 20.
    double fromHz = 40.0;    ///< Range that is fitted: 20 to 20000.
    double toHz = 16000.0;

    bool operator==(const FitChoice&) const = default;
};

/** A text in paragraphs with the one that matters most on top. */
struct FindingView {
    juce::String headline;
    juce::StringArray sentences;
    bool isProblem = false;

    bool operator==(const FindingView&) const = default;
};

/** Files of settings that can be chosen from. */
struct ChoiceList {
    juce::StringArray names;
    int chosen = -1; ///< -1 = none.

    bool operator==(const ChoiceList&) const = default;
};

/** What is being worked out in the background. */
enum class TuningTask { none, filters, toneControls };

/** Everything the Tuning place needs to know, at one moment. */
struct TuningSnapshot {
    bool hasJob = false;
    std::vector<TuningCandidate> candidates;
    std::size_t edited = 0; ///< Index of the candidate that is edited and heard.
    std::vector<DraftElement> elements;
    std::shared_ptr<const TuningCurves> curves; ///< Null without a job.
    bool canUndo = false;
    bool canRedo = false;
    juce::String undoWords; ///< What would be taken back; empty if nothing.
    juce::String redoWords;
    bool hasUnsaved = false;
    bool isBuilding = false; ///< The last change is not heard yet.
    /** What was not saved when the program ended last, and can be brought back; empty = nothing. */
    juce::String recoveryWords;
    TargetChoice target;
    FitChoice fit;
    TuningTask task = TuningTask::none;
    ChoiceList toneControls;
    ChoiceList speakers;
    std::optional<FindingView> verdict; ///< Nothing: it is being worked out.
    std::optional<FindingView> cost;
    double plannedSplDb = 90.0;
    juce::String limits;  ///< What the picture and the sound leave out; empty if nothing.
    juce::String message; ///< What the last command led to; empty = nothing to say.
    bool messageIsProblem = false;
};

/** What the screens see of the tuning desk. All of it is for the message thread. Every change of the
    tuning or of the list of candidates is a step that can be undone. */
class TuningModel {
public:
    virtual ~TuningModel() = default;

    [[nodiscard]] virtual TuningSnapshot tuningSnapshot() = 0;
    /** The place is entered or left: on it the bike stands still. */
    virtual void setShown(bool isShown) = 0;

    virtual void editCandidate(std::size_t index) = 0;
    virtual void setBeside(std::size_t index, bool shouldBeBeside) = 0;
    /** A copy of the edited one, which is then edited. */
    virtual void addCandidate() = 0;
    virtual void renameCandidate(const juce::String& name) = 0;
    virtual void deleteCandidate() = 0;

    /** Returns the index of the new element. */
    virtual std::size_t addElement(const DraftElement& element) = 0;
    /** run: changes of one element in one run, not empty, are one step until endRun(). */
    virtual void changeElement(std::size_t index, const DraftElement& changed,
                               const juce::String& run) = 0;
    virtual void endRun() = 0;
    virtual void removeElement(std::size_t index) = 0;
    virtual void undo() = 0;
    virtual void redo() = 0;

    virtual void setTarget(const TargetChoice& target) = 0;
    virtual void setFit(const FitChoice& fit) = 0;
    virtual void fitFilters() = 0;
    /** The tuning stays as it is. */
    virtual void cancelFit() = 0;
    virtual void chooseToneControls(int index) = 0;
    virtual void fitToneControls() = 0;
    virtual void chooseSpeaker(int index) = 0;
    virtual void openSpeaker(const juce::File& file) = 0;
    virtual void setPlannedSplDb(double splDb) = 0;

    /** False: it failed, and the message says why. */
    virtual bool save() = 0;
    /** Forgets what has not been saved. */
    virtual void discardUnsaved() = 0;
    /** To the recoveryWords; what is not brought back stays in the job's folder under another name. */
    virtual void answerRecovery(bool shouldBringBack) = 0;
    /** file: .txt, .csv or .json. */
    virtual void exportSettings(const juce::File& file) = 0;
};

} // namespace saddletone::gui
