#pragma once

#include "Core/Tuning/ToneControls.h"
#include "Core/Tuning/TuningCost.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/EditHistory.h"
#include "Plugin/TuningCurves.h"
#include "Plugin/TuningDraft.h"

#include <functional>
#include <mutex>
#include <optional>

namespace saddletone::plugin {

/** The tuning of the open job while it is edited: its history, what is worked out about it, and what
    of it is heard.

    The edited candidate is the one that is heard. What it sounds like after a change is built in the
    background, one version at a time, and the engine fades to it; fits, costs and the verdict are
    worked out on another thread. */
class TuningDesk final : public gui::TuningModel, public EditSource, private juce::Timer {
public:
    /** presetsFolder: with folders ToneControls and Speakers; an empty one if there are none. The
        processor must outlive this. */
    TuningDesk(AuditionProcessor& auditionProcessor, juce::File presetsFolder);
    ~TuningDesk() override;
    TuningDesk(const TuningDesk&) = delete;
    TuningDesk& operator=(const TuningDesk&) = delete;

    /** The folder Presets beside the program, in its share folder or in a folder above; an empty
        file if there is none. */
    [[nodiscard]] static juce::File findPresets();

    /** Has the steps of the tuning in their place among the edits of the whole program. The line
        must outlive this. */
    void joinLine(EditLine& editLine);

    /** Takes up what has been opened or worked out; a timer does so 30 times a second. */
    void update();
    /** Something is being worked out or built. */
    [[nodiscard]] bool isBusy();

    gui::TuningSnapshot tuningSnapshot() override;
    void setShown(bool isShown) override;
    void editCandidate(std::size_t index) override;
    void setBeside(std::size_t index, bool shouldBeBeside) override;
    void addCandidate() override;
    void renameCandidate(const juce::String& name) override;
    void deleteCandidate() override;
    std::size_t addElement(const gui::DraftElement& element) override;
    void changeElement(std::size_t index, const gui::DraftElement& changed,
                       const juce::String& run) override;
    void endRun() override { history.endRun(); }
    void removeElement(std::size_t index) override;
    void undo() override;
    void redo() override;
    std::optional<Step> nextUndo() override { return history.nextUndoStep(); }
    std::optional<Step> nextRedo() override { return history.nextRedoStep(); }
    void editedElsewhere() override;
    void movedElsewhere() override { history.endRun(); }
    void setTarget(const gui::TargetChoice& newTarget) override;
    void setFit(const gui::FitChoice& newFit) override;
    void fitFilters() override;
    void cancelFit() override;
    void chooseToneControls(int index) override;
    void fitToneControls() override;
    void chooseSpeaker(int index) override;
    void openSpeaker(const juce::File& file) override;
    void setPlannedSplDb(double splDb) override;
    bool save() override;
    void discardUnsaved() override;
    void answerRecovery(bool shouldBringBack) override;
    void exportSettings(const juce::File& file) override;

private:
    /** A fit that has been carried out. */
    struct FitOutcome {
        std::uint64_t number = 0;
        DraftCandidate fitted; ///< As it was when the fit began.
        std::vector<gui::DraftElement> elements;
        juce::String words;
        bool hasFailed = false;
    };

    void timerCallback() override { update(); }
    [[nodiscard]] const TuningDocument& document() const noexcept { return history.current(); }
    [[nodiscard]] std::size_t editedIndex();
    [[nodiscard]] const DraftCandidate* editedCandidate();
    void selectCandidate(std::size_t index);
    void selectById(std::uint64_t id);
    void takeUpJob();
    /** Goes on with what is edited in a job that was read again; false: it is to be taken up afresh,
        without a past. */
    [[nodiscard]] bool goOnWith(const std::shared_ptr<const LoadedJob>& loaded,
                                const StoredDocument& read);
    void clearJob();
    /** Makes a step of a changed version. */
    void record(TuningDocument changed, EditStep step);
    /** The same, and what follows from it; nothing if it is the same as before. */
    void commit(TuningDocument changed, EditStep step);
    void commitElements(std::vector<gui::DraftElement> elements, EditStep step);
    /** Has the draft on the disk follow what is not saved. */
    void keepDraft(bool isAtOnce);
    void findDraft();
    /** Everything that follows from the document is to be made anew. */
    void documentChanged();
    void refreshCurves();
    void say(const juce::String& words, bool isProblem);
    void findChoices();
    /** What was chosen stays so, if it is still there. */
    void findChoicesAgain();
    void startFit(gui::TuningTask newTask, std::function<FitOutcome(FitOutcome)> carryOut);
    void takeUpFit();
    void orderCost();
    void orderVerdict();

    AuditionProcessor& processor;
    const juce::File presets;
    std::uint64_t openedNumber = 0;
    std::shared_ptr<const LoadedJob> opened; ///< Null: no job is open.
    std::uint64_t nextId = 1;
    StoredDocument stored;
    EditHistory<TuningDocument> history;
    EditLine* line = nullptr;
    TuningDraft draft;
    TuningDocument keptDraft; ///< In the draft's file.
    bool isKept = false;
    int numTicksUnkept = 0;
    std::optional<TuningDocument> foundDraft; ///< Of an earlier run; not answered yet.
    juce::String foundWords;
    audition::CandidateRequest reference; ///< What levels refer to while this job is open.
    bool isWaitingToBePlayed = false;

    TuningCurveMaker curveMaker;
    std::shared_ptr<const gui::TuningCurves> curves;
    std::size_t curvesOf = 0;
    std::vector<std::uint64_t> besideIds;
    gui::TargetChoice target;
    gui::FitChoice fit;
    gui::TuningTask task = gui::TuningTask::none;
    std::vector<tuning::ToneControls> toneControls;
    gui::ChoiceList toneChoices;
    std::vector<tuning::Speaker> speakers;
    gui::ChoiceList speakerChoices;
    double plannedSplDb = 90.0;
    std::optional<gui::FindingView> verdict;
    std::optional<gui::FindingView> cost;
    bool isCostOld = true;
    bool isVerdictOld = true;
    juce::String message;
    bool messageIsProblem = false;

    std::mutex outcomeMutex; // never taken by the audio thread
    std::optional<FitOutcome> fitOutcome;
    std::optional<std::pair<std::uint64_t, gui::FindingView>> costOutcome;
    std::optional<std::pair<std::uint64_t, gui::FindingView>> verdictOutcome;
    std::atomic<std::uint64_t> newestFit {0};
    std::atomic<std::uint64_t> newestCost {0};
    std::atomic<std::uint64_t> newestVerdict {0};
    int numOrdered = 0;
    std::atomic<int> numCarriedOut {0};

    juce::ThreadPool workers {2}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
