#include "Plugin/TuningDesk.h"

#include "Core/Presets/PresetLibrary.h"
#include "Core/Tuning/FilterExport.h"
#include "Core/Tuning/FilterFit.h"
#include "Core/Tuning/ToneControlFit.h"
#include "Core/Tuning/Verdict.h"
#include "Gui/ElementWords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/Paths.h"
#include "Plugin/TuningMerge.h"

#include <algorithm>
#include <cmath>

namespace saddletone::plugin {

namespace {

/** Rate of the biquads in exported JSON. */
constexpr double exportRate = 48000.0;

/** A fit takes the place of what shapes the response on all speakers; the rest stays. */
bool isReplacedByFit(const gui::DraftElement& draft)
{
    using tuning::ElementType;
    if (!draft.isOn || draft.group != tuning::OutputGroup::all)
        return false;
    switch (draft.element.type) {
    case ElementType::gain:
    case ElementType::peaking:
    case ElementType::lowShelf:
    case ElementType::highShelf:
    case ElementType::notch:
    case ElementType::graphic: return true;
    default: return false;
    }
}

/** What of a candidate stays under a fit. */
DraftCandidate keptUnderFit(const DraftCandidate& candidate)
{
    DraftCandidate kept = candidate;
    std::erase_if(kept.elements, isReplacedByFit);
    return kept;
}

/** The curve that a fit sees: with what stays already applied. */
dsp::Result<tuning::FitCurve> curveUnder(const DraftCandidate& kept,
                                         const tuning::FitTarget& target,
                                         const tuning::FitRange& range)
{
    auto curve = tuning::makeFitCurve(*kept.response, target, range);
    if (!curve)
        return curve;
    const tuning::LevelDbAt change = appliedLevelDbOf(kept);
    for (tuning::FitPoint& point : curve->points)
        point.levelDb += change(point.frequencyHz);
    return curve;
}

std::vector<gui::DraftElement> elementsUnderFit(const DraftCandidate& kept,
                                                const tuning::Tuning& fitted)
{
    std::vector<gui::DraftElement> elements = kept.elements;
    for (const tuning::Chain& chain : fitted.chains)
        for (const tuning::Element& element : chain.elements)
            elements.push_back({element, chain.group, true});
    return elements;
}

juce::String beforeAndAfter(double beforeDb, double afterDb)
{
    return "strayed from the target by " + gui::numberWords(beforeDb, 1) + " dB, now by "
           + gui::numberWords(afterDb, 1) + " dB";
}

juce::StringArray toTexts(const std::vector<std::string>& sentences)
{
    juce::StringArray texts;
    for (const std::string& sentence : sentences)
        texts.add(toText(sentence));
    return texts;
}

/** Loads every JSON file of a folder that can be loaded, by name of file. */
template <typename Item, typename Load>
void loadAll(const juce::File& folder, std::vector<Item>& items, Load&& load)
{
    if (!folder.isDirectory())
        return;
    juce::Array<juce::File> files = folder.findChildFiles(juce::File::findFiles, false, "*.json");
    files.sort();
    for (const juce::File& file : files)
        if (auto loaded = load(toPath(file)))
            items.push_back(*std::move(loaded));
}

/** The verdict on the states of a job, in words. */
gui::FindingView findingOf(const job::Job& job, tuning::VerdictRequest request)
{
    for (const job::JobState& state : job.states) {
        const auto file = job::resolveInside(job.folder, state.file);
        if (!file)
            return {toText(file.error().message), {}, true};
        auto response = measure::loadResponse(*file);
        if (!response)
            return {toText(response.error().message), {}, true};
        request.states.push_back(*std::move(response));
    }
    const auto verdict = tuning::giveVerdict(request);
    if (!verdict)
        return {toText(verdict.error().message), {}, true};
    gui::FindingView finding;
    finding.headline = toText(verdict->sentence);
    for (const tuning::MeansResult& result : verdict->means)
        if (!result.reason.empty() && result.reason != verdict->sentence)
            finding.sentences.add(toText(result.reason));
    if (verdict->parkedDsp && !verdict->parkedDsp->reason.empty())
        finding.sentences.add(toText(verdict->parkedDsp->reason));
    finding.sentences.addArray(toTexts(verdict->notes));
    return finding;
}

/** A name that no candidate has: that of the copied one with the next number behind it. */
std::string nameOfCopy(const TuningDocument& document, const std::string& name)
{
    std::string stem = name;
    while (!stem.empty() && stem.back() >= '0' && stem.back() <= '9')
        stem.pop_back();
    if (stem.empty() || stem.back() != ' ')
        stem = name + " ";
    for (int number = 2;; ++number) {
        std::string wanted = stem + std::to_string(number);
        if (std::ranges::find(document.candidates, wanted, &DraftCandidate::name)
            == document.candidates.end())
            return wanted;
    }
}

} // namespace

TuningDesk::TuningDesk(AuditionProcessor& auditionProcessor, juce::File presetsFolder)
    : processor(auditionProcessor), presets(std::move(presetsFolder))
{
    curveMaker.setTarget({}, {fit.fromHz, fit.toHz});
    findChoices();
    update();
    startTimerHz(30);
}

TuningDesk::~TuningDesk()
{
    stopTimer();
    ++newestFit;
    ++newestCost;
    ++newestVerdict;
    workers.removeAllJobs(true, -1);
    processor.setParked(false);
}

juce::File TuningDesk::findPresets()
{
    const auto folder = presets::findPresetsFolder(
        toPath(juce::File::getSpecialLocation(juce::File::currentExecutableFile)));
    return folder ? toFile(*folder) : juce::File();
}

void TuningDesk::findChoices()
{
    toneControls.clear();
    speakers.clear();
    if (opened != nullptr) {
        const juce::File folder = toFile(opened->job.folder);
        loadAll(folder.getChildFile("toneControls"), toneControls, tuning::loadToneControls);
        loadAll(folder.getChildFile("speakers"), speakers, tuning::loadSpeaker);
    }
    // A speaker of the job's own is meant; one of the presets has to be chosen.
    const int chosenSpeaker = speakers.empty() ? -1 : 0;
    if (presets != juce::File()) {
        loadAll(presets.getChildFile("ToneControls"), toneControls, tuning::loadToneControls);
        loadAll(presets.getChildFile("Speakers"), speakers, tuning::loadSpeaker);
    }
    toneChoices = {};
    for (const tuning::ToneControls& each : toneControls)
        toneChoices.names.add(toText(each.name));
    toneChoices.chosen = toneControls.empty() ? -1 : 0;
    speakerChoices = {};
    for (const tuning::Speaker& each : speakers)
        speakerChoices.names.add(toText(each.name));
    speakerChoices.chosen = chosenSpeaker;
}

void TuningDesk::findChoicesAgain()
{
    const juce::String tone = toneChoices.names[toneChoices.chosen];
    const juce::String speaker = speakerChoices.names[speakerChoices.chosen];
    findChoices();
    for (const auto& [choices, name] :
         {std::pair {&toneChoices, tone}, std::pair {&speakerChoices, speaker}})
        if (const int again = choices->names.indexOf(name); again >= 0)
            choices->chosen = again;
}

void TuningDesk::say(const juce::String& words, bool isProblem)
{
    message = words;
    messageIsProblem = isProblem;
}

std::size_t TuningDesk::editedIndex()
{
    const double number = gui::parameterValue(processor.parameters(), gui::parameterIds::candidate);
    const auto index = static_cast<std::size_t>(std::max(0.0, std::round(number) - 1.0));
    return document().candidates.empty() ? 0 : std::min(index, document().candidates.size() - 1);
}

const DraftCandidate* TuningDesk::editedCandidate()
{
    return document().candidates.empty() ? nullptr : &document().candidates[editedIndex()];
}

void TuningDesk::selectCandidate(std::size_t index)
{
    gui::setParameter(processor.parameters(), gui::parameterIds::candidate,
                      static_cast<double>(index) + 1.0);
}

void TuningDesk::selectById(std::uint64_t id)
{
    const auto& candidates = document().candidates;
    if (const auto found = std::ranges::find(candidates, id, &DraftCandidate::id);
        found != candidates.end())
        selectCandidate(static_cast<std::size_t>(found - candidates.begin()));
}

void TuningDesk::clearJob()
{
    if (opened != nullptr)
        keepDraft(true);
    keptDraft = {};
    isKept = false;
    foundDraft.reset();
    foundWords.clear();
    opened = nullptr;
    stored = {};
    history.restart({});
    curves = nullptr;
    besideIds.clear();
    curveMaker.reset();
    verdict.reset();
    cost.reset();
    message.clear();
}

void TuningDesk::takeUpJob()
{
    const AuditionProcessor::OpenedJob now = processor.openedJob();
    if (now.number == openedNumber)
        return;
    openedNumber = now.number;
    ++newestFit; // a fit under way is of the job before
    task = gui::TuningTask::none;
    if (now.loaded == nullptr) {
        clearJob();
        findChoices();
        return;
    }
    StoredDocument read = readDocument(*now.loaded, nextId);
    nextId += read.document.candidates.size();
    const bool isSameJob = opened != nullptr && opened->job.folder == now.loaded->job.folder;
    if (isSameJob && goOnWith(now.loaded, read))
        return;
    clearJob();
    opened = now.loaded;
    stored = std::move(read);
    reference = opened->request.candidates.front();
    history.restart(stored.document);
    findDraft();
    findChoices();
    refreshCurves();
    isCostOld = true;
    isVerdictOld = true;
}

bool TuningDesk::goOnWith(const std::shared_ptr<const LoadedJob>& loaded,
                          const StoredDocument& read)
{
    const TuningMerge merge(stored, read);
    const bool isSaved = document() == stored.document;
    // What is saved is to be as it stands in the folder now; what is being edited stays.
    if (isSaved && !merge.isOfStatesAlone())
        return false;
    opened = loaded;
    stored = merge.document();
    history.follow([&](TuningDocument version) { return merge.follow(std::move(version)); });
    isVerdictOld = true;
    // A state may have returned to before it was tuned.
    if (!isSaved
        || !std::ranges::is_permutation(document().candidates, stored.document.candidates)) {
        documentChanged();
        return true;
    }
    TuningDocument inOrder = stored.document;
    inOrder.absent = document().absent;
    history.amend(std::move(inOrder));
    findChoicesAgain();
    refreshCurves();
    isCostOld = true;
    return true;
}

void TuningDesk::findDraft()
{
    foundDraft = TuningDraft::find(stored, nextId);
    if (!foundDraft)
        return;
    nextId += foundDraft->candidates.size();
    foundWords = "Changes of "
                 + TuningDraft::timeOf(stored.job.folder).toString(true, true, false, true)
                 + " were not saved to this job before the program ended. Bring them back to go on "
                   "with them, or leave the job as it was saved; then they stay beside it in "
                 + TuningDraft::previousFileName + ".";
}

void TuningDesk::keepDraft(bool isAtOnce)
{
    if (document() == stored.document) {
        // A draft that is asked about is still wanted.
        if (isKept)
            draft.forget(stored.job.folder);
        isKept = false;
        return;
    }
    if (isKept && document() == keptDraft) {
        numTicksUnkept = 0;
        return;
    }
    constexpr int ticksUntilKept = 30; // about a second
    if (!isAtOnce && ++numTicksUnkept < ticksUntilKept)
        return;
    numTicksUnkept = 0;
    keptDraft = document();
    isKept = true;
    draft.keep(stored.job.folder, keptDraft);
}

void TuningDesk::answerRecovery(bool shouldBringBack)
{
    if (!foundDraft)
        return;
    TuningDocument broughtBack = *std::exchange(foundDraft, std::nullopt);
    foundWords.clear();
    if (!shouldBringBack) {
        draft.setAside(stored.job.folder);
        return;
    }
    broughtBack.absent = document().absent;
    isKept = true;
    keptDraft = broughtBack;
    commit(std::move(broughtBack), {"unsaved tuning brought back"});
    say("What was not saved is back; save it to keep it.", false);
}

void TuningDesk::update()
{
    processor.update();
    takeUpJob();
    takeUpFit();
    {
        const std::lock_guard lock(outcomeMutex);
        if (costOutcome && costOutcome->first == newestCost.load())
            cost = std::move(costOutcome->second);
        costOutcome.reset();
        if (verdictOutcome && verdictOutcome->first == newestVerdict.load())
            verdict = std::move(verdictOutcome->second);
        verdictOutcome.reset();
    }
    if (opened == nullptr)
        return;
    keepDraft(false);
    if (curvesOf != editedIndex()) {
        history.endRun();
        refreshCurves();
        isCostOld = true;
    }
    if (isWaitingToBePlayed && !processor.isBuildingEdited()) {
        isWaitingToBePlayed = false;
        processor.playEdited(editedJob(*opened, document(), reference));
    }
    const bool isFree = numOrdered == numCarriedOut.load();
    if (isFree && isVerdictOld)
        orderVerdict();
    else if (isFree && isCostOld)
        orderCost();
}

bool TuningDesk::isBusy()
{
    return numOrdered != numCarriedOut.load() || task != gui::TuningTask::none || draft.isBusy()
           || isWaitingToBePlayed || processor.isBuildingEdited()
           || (opened != nullptr && (isCostOld || isVerdictOld));
}

gui::TuningSnapshot TuningDesk::tuningSnapshot()
{
    takeUpJob();
    gui::TuningSnapshot snapshot;
    snapshot.hasJob = opened != nullptr;
    snapshot.target = target;
    snapshot.fit = fit;
    snapshot.task = task;
    snapshot.toneControls = toneChoices;
    snapshot.speakers = speakerChoices;
    snapshot.plannedSplDb = plannedSplDb;
    snapshot.message = message;
    snapshot.messageIsProblem = messageIsProblem && message.isNotEmpty();
    if (opened == nullptr)
        return snapshot;
    if (curvesOf != editedIndex())
        refreshCurves();
    for (const DraftCandidate& candidate : document().candidates) {
        gui::TuningCandidate shown;
        shown.name = toText(candidate.name);
        shown.stateName = toText(candidate.stateId);
        for (const std::string& id : candidate.groupStateIds)
            shown.stateName += " + " + toText(id);
        shown.numElements = candidate.elements.size();
        const auto& saved = stored.document.candidates;
        shown.isUnsaved = std::ranges::find(saved, candidate) == saved.end();
        shown.isBeside = std::ranges::find(besideIds, candidate.id) != besideIds.end();
        snapshot.candidates.push_back(std::move(shown));
    }
    snapshot.edited = editedIndex();
    snapshot.elements = document().candidates[snapshot.edited].elements;
    snapshot.curves = curves;
    snapshot.canUndo = history.canUndo();
    snapshot.canRedo = history.canRedo();
    if (snapshot.canUndo)
        snapshot.undoWords = toText(history.nextUndo().words);
    if (snapshot.canRedo)
        snapshot.redoWords = toText(history.nextRedo().words);
    snapshot.hasUnsaved = document() != stored.document;
    snapshot.recoveryWords = foundWords;
    snapshot.isBuilding = isWaitingToBePlayed || processor.isBuildingEdited();
    snapshot.verdict = verdict;
    snapshot.cost = cost;
    const auto isOn = [](tuning::ElementType type) {
        return [type](const gui::DraftElement& each) {
            return each.isOn && each.element.type == type;
        };
    };
    if (std::ranges::any_of(snapshot.elements, isOn(tuning::ElementType::limiter)))
        snapshot.limits = "A limiter acts by level: it is exported, but not in the curves and not "
                          "heard yet.";
    if (gui::parameterValue(processor.parameters(), gui::parameterIds::levelMatch) > 0.5)
        snapshot.limits << (snapshot.limits.isEmpty() ? "" : " ")
                        << "Levels are set to equal loudness on Listen, so that a change of level "
                           "alone is not heard.";
    return snapshot;
}

void TuningDesk::setShown(bool isShown)
{
    history.endRun();
    processor.setParked(isShown);
}

void TuningDesk::refreshCurves()
{
    if (document().candidates.empty())
        return;
    curvesOf = editedIndex();
    std::vector<std::size_t> beside;
    for (std::size_t index = 0; index < document().candidates.size(); ++index)
        if (index != curvesOf
            && std::ranges::find(besideIds, document().candidates[index].id) != besideIds.end())
            beside.push_back(index);
    curves = curveMaker.make(document(), curvesOf, beside);
}

void TuningDesk::documentChanged()
{
    refreshCurves();
    isCostOld = true;
    isWaitingToBePlayed = true;
    if (!processor.isBuildingEdited()) {
        isWaitingToBePlayed = false;
        processor.playEdited(editedJob(*opened, document(), reference));
    }
}

void TuningDesk::commit(TuningDocument changed, EditStep step)
{
    if (changed == document())
        return;
    message.clear();
    record(std::move(changed), std::move(step));
    documentChanged();
}

void TuningDesk::record(TuningDocument changed, EditStep step)
{
    if (line != nullptr)
        step.order = line->begin(*this);
    history.apply(std::move(changed), std::move(step));
}

void TuningDesk::joinLine(EditLine& editLine)
{
    line = &editLine;
    line->add(*this);
}

void TuningDesk::editedElsewhere()
{
    history.forgetRedo();
    history.endRun();
}

void TuningDesk::commitElements(std::vector<gui::DraftElement> elements, EditStep step)
{
    TuningDocument changed = document();
    DraftCandidate& candidate = changed.candidates[editedIndex()];
    candidate.elements = std::move(elements);
    step.place = candidate.id;
    commit(std::move(changed), std::move(step));
}

void TuningDesk::editCandidate(std::size_t index)
{
    if (index >= document().candidates.size())
        return;
    history.endRun();
    selectCandidate(index);
    refreshCurves();
    isCostOld = true;
}

void TuningDesk::setBeside(std::size_t index, bool shouldBeBeside)
{
    if (index >= document().candidates.size())
        return;
    const std::uint64_t id = document().candidates[index].id;
    std::erase(besideIds, id);
    if (shouldBeBeside)
        besideIds.push_back(id);
    refreshCurves();
}

void TuningDesk::addCandidate()
{
    const DraftCandidate* const source = editedCandidate();
    if (source == nullptr)
        return;
    if (document().candidates.size() >= audition::maxCandidates) {
        say("There are " + juce::String(audition::maxCandidates)
                + " candidates, which is all that can be heard side by side; delete one first.",
            true);
        return;
    }
    TuningDocument changed = document();
    DraftCandidate copy = *source;
    copy.id = nextId++;
    copy.name = nameOfCopy(document(), source->name);
    copy.tuningName = copy.name;
    EditStep step {"new candidate " + copy.name, {}, copy.id};
    changed.candidates.push_back(std::move(copy));
    const std::size_t index = changed.candidates.size() - 1;
    record(std::move(changed), std::move(step));
    selectCandidate(index);
    documentChanged();
    say("A copy to work on; the candidate it was made from stays as it is.", false);
}

void TuningDesk::renameCandidate(const juce::String& name)
{
    const std::string wanted = name.trim().substring(0, 80).toStdString();
    if (wanted.empty() || editedCandidate() == nullptr)
        return;
    TuningDocument changed = document();
    DraftCandidate& candidate = changed.candidates[editedIndex()];
    if (candidate.tuningName == candidate.name)
        candidate.tuningName = wanted;
    candidate.name = wanted;
    const std::uint64_t id = candidate.id;
    commit(std::move(changed), {"name " + wanted, {}, id});
}

void TuningDesk::deleteCandidate()
{
    if (document().candidates.size() < 2) {
        say("A job has to keep one candidate.", true);
        return;
    }
    TuningDocument changed = document();
    const std::size_t index = editedIndex();
    EditStep step {"candidate " + changed.candidates[index].name + " deleted",
                   {},
                   changed.candidates[index].id};
    const juce::String name = toText(changed.candidates[index].name);
    changed.candidates.erase(changed.candidates.begin() + static_cast<std::ptrdiff_t>(index));
    record(std::move(changed), std::move(step));
    selectCandidate(std::min(index, document().candidates.size() - 1));
    documentChanged();
    say(name + " was taken out; Undo brings it back.", false);
}

std::size_t TuningDesk::addElement(const gui::DraftElement& element)
{
    const DraftCandidate* const candidate = editedCandidate();
    if (candidate == nullptr)
        return 0;
    std::vector<gui::DraftElement> elements = candidate->elements;
    elements.push_back(element);
    const std::size_t index = elements.size() - 1;
    const bool wasAsMeasured = candidate->elements.empty();
    commitElements(std::move(elements),
                   {gui::typeWords(element.element.type).toStdString() + " added"});
    if (wasAsMeasured)
        say("This was the bike as measured. To keep it, undo and press \"New candidate\".", false);
    return index;
}

void TuningDesk::changeElement(std::size_t index, const gui::DraftElement& changed,
                               const juce::String& run)
{
    const DraftCandidate* const candidate = editedCandidate();
    if (candidate == nullptr || index >= candidate->elements.size())
        return;
    std::vector<gui::DraftElement> elements = candidate->elements;
    elements[index] = changed;
    const std::string runName =
        run.isEmpty() ? std::string() : run.toStdString() + " " + std::to_string(index);
    commitElements(std::move(elements),
                   {gui::typeWords(changed.element.type).toStdString() + " changed", runName});
}

void TuningDesk::removeElement(std::size_t index)
{
    const DraftCandidate* const candidate = editedCandidate();
    if (candidate == nullptr || index >= candidate->elements.size())
        return;
    std::vector<gui::DraftElement> elements = candidate->elements;
    const auto removed = elements.begin() + static_cast<std::ptrdiff_t>(index);
    const std::string words = gui::typeWords(removed->element.type).toStdString() + " removed";
    elements.erase(removed);
    commitElements(std::move(elements), {words});
}

void TuningDesk::undo()
{
    if (opened == nullptr || !history.canUndo())
        return;
    const EditStep step = history.undo();
    selectById(step.place);
    documentChanged();
    say("Taken back: " + toText(step.words) + ".", false);
}

void TuningDesk::redo()
{
    if (opened == nullptr || !history.canRedo())
        return;
    const EditStep step = history.redo();
    selectById(step.place);
    documentChanged();
    say("Made again: " + toText(step.words) + ".", false);
}

void TuningDesk::setTarget(const gui::TargetChoice& newTarget)
{
    tuning::FitTarget wanted;
    if (newTarget.kind == gui::TargetKind::bassShelf) {
        wanted.name = "flat with a bass shelf";
        wanted.bassShelf = newTarget.bassShelf;
    } else if (newTarget.kind == gui::TargetKind::file) {
        auto loaded = tuning::loadTarget(toPath(newTarget.file));
        if (!loaded) {
            say(toText(loaded.error().message), true);
            return;
        }
        wanted = *std::move(loaded);
    }
    target = newTarget;
    curveMaker.setTarget(std::move(wanted), curveMaker.range());
    message.clear();
    refreshCurves();
    isVerdictOld = true;
}

void TuningDesk::setFit(const gui::FitChoice& newFit)
{
    const bool isNewRange = fit.fromHz != newFit.fromHz || fit.toHz != newFit.toHz;
    fit = newFit;
    if (isNewRange) {
        curveMaker.setTarget(curveMaker.target(), {fit.fromHz, fit.toHz});
        refreshCurves();
    }
}

void TuningDesk::startFit(gui::TuningTask newTask, std::function<FitOutcome(FitOutcome)> carryOut)
{
    const DraftCandidate* const candidate = editedCandidate();
    if (candidate == nullptr || task != gui::TuningTask::none)
        return;
    history.endRun();
    task = newTask;
    message.clear();
    FitOutcome outcome;
    outcome.number = ++newestFit;
    outcome.fitted = *candidate;
    ++numOrdered;
    workers.addJob([this, outcome, carryOut = std::move(carryOut)]() mutable {
        if (outcome.number == newestFit.load()) {
            FitOutcome made = carryOut(std::move(outcome));
            const std::lock_guard lock(outcomeMutex);
            fitOutcome = std::move(made);
        }
        ++numCarriedOut;
    });
}

void TuningDesk::fitFilters()
{
    tuning::FilterLimits limits;
    limits.maxBoostDb = fit.maxBoostDb;
    limits.headroomDb = fit.maxBoostDb;
    // A shelf that rights the lowest octave may have its middle a little below it.
    limits.fromHz = std::max(20.0, 0.75 * fit.fromHz);
    limits.toHz = fit.toHz;
    startFit(gui::TuningTask::filters, [limits, numFilters = fit.numFilters,
                                        wanted = curveMaker.target(),
                                        range = curveMaker.range()](FitOutcome outcome) {
        const DraftCandidate kept = keptUnderFit(outcome.fitted);
        const auto curve = curveUnder(kept, wanted, range);
        if (!curve) {
            outcome.hasFailed = true;
            outcome.words = toText(curve.error().message);
            return outcome;
        }
        const auto fitted = tuning::fitFilters({&*curve, 1}, limits, numFilters);
        if (!fitted) {
            outcome.hasFailed = true;
            outcome.words = toText(fitted.error().message);
            return outcome;
        }
        outcome.elements = elementsUnderFit(kept, fitted->tuning);
        outcome.words = juce::String(fitted->numFilters)
                        + (fitted->numFilters == 1 ? " filter fitted: " : " filters fitted: ")
                        + beforeAndAfter(fitted->errorBeforeDb, fitted->errorAfterDb) + ".";
        for (const std::string& remark : fitted->remarks)
            outcome.words << " " << toText(remark);
        return outcome;
    });
}

void TuningDesk::cancelFit()
{
    if (task == gui::TuningTask::none)
        return;
    ++newestFit; // whatever comes of it is not taken up
    task = gui::TuningTask::none;
    say("The fit was cancelled; the tuning is as it was.", false);
}

void TuningDesk::fitToneControls()
{
    if (toneChoices.chosen < 0)
        return;
    const tuning::ToneControls model = toneControls[static_cast<std::size_t>(toneChoices.chosen)];
    startFit(gui::TuningTask::toneControls, [model, wanted = curveMaker.target(),
                                             range = curveMaker.range()](FitOutcome outcome) {
        const DraftCandidate kept = keptUnderFit(outcome.fitted);
        const auto curve = curveUnder(kept, wanted, range);
        if (!curve) {
            outcome.hasFailed = true;
            outcome.words = toText(curve.error().message);
            return outcome;
        }
        const tuning::ToneControlFit fitted = tuning::fitToneControls({&*curve, 1}, model);
        outcome.elements = elementsUnderFit(kept, fitted.tuning);
        outcome.words = "Set the radio to " + toText(tuning::toneWords(model, fitted.steps)) + ": "
                        + beforeAndAfter(fitted.errorBeforeDb, fitted.errorDb) + ".";
        if (model.status() == tuning::ToneControlStatus::assumed)
            outcome.words << " The controls' frequencies and steps are assumed, not measured.";
        return outcome;
    });
}

void TuningDesk::takeUpFit()
{
    std::optional<FitOutcome> made;
    {
        const std::lock_guard lock(outcomeMutex);
        made = std::exchange(fitOutcome, std::nullopt);
    }
    if (!made || made->number != newestFit.load())
        return;
    const bool isOfTones = task == gui::TuningTask::toneControls;
    task = gui::TuningTask::none;
    if (made->hasFailed) {
        say(made->words, true);
        return;
    }
    TuningDocument changed = document();
    const auto candidate =
        std::ranges::find(changed.candidates, made->fitted.id, &DraftCandidate::id);
    if (candidate == changed.candidates.end() || candidate->elements != made->fitted.elements) {
        say("The tuning was changed while the fit was under way, so its result was dropped; fit "
            "again.",
            true);
        return;
    }
    candidate->elements = std::move(made->elements);
    commit(std::move(changed),
           {isOfTones ? "fit of tone controls" : "fit of filters", {}, made->fitted.id});
    selectById(made->fitted.id);
    say(made->words + " Undo brings back what was there.", false);
}

void TuningDesk::chooseToneControls(int index)
{
    if (index < 0 || index >= static_cast<int>(toneControls.size()))
        return;
    toneChoices.chosen = index;
    isVerdictOld = true;
}

void TuningDesk::chooseSpeaker(int index)
{
    if (index >= static_cast<int>(speakers.size()))
        return;
    speakerChoices.chosen = std::max(-1, index);
    isCostOld = true;
}

void TuningDesk::openSpeaker(const juce::File& file)
{
    auto loaded = tuning::loadSpeaker(toPath(file));
    if (!loaded) {
        say(toText(loaded.error().message), true);
        return;
    }
    speakerChoices.names.add(toText(loaded->name));
    speakers.push_back(*std::move(loaded));
    chooseSpeaker(static_cast<int>(speakers.size()) - 1);
}

void TuningDesk::setPlannedSplDb(double splDb)
{
    plannedSplDb = splDb;
    isCostOld = true;
}

void TuningDesk::orderCost()
{
    isCostOld = false;
    const DraftCandidate* const candidate = editedCandidate();
    const std::uint64_t number = ++newestCost;
    if (speakerChoices.chosen < 0 || candidate == nullptr) {
        cost = gui::FindingView {
            "Choose the speaker to see what the tuning asks of it.",
            {"A job with a speaker file in its folder \"speakers\" has it chosen already."},
            false};
        return;
    }
    tuning::CostRequest request;
    request.tuning = tuningOf(*candidate);
    request.output = tuning::costedOutput(request.tuning);
    request.speaker = speakers[static_cast<std::size_t>(speakerChoices.chosen)];
    request.amplifier.impedanceOhm = request.speaker.nominalImpedanceOhm;
    request.plannedSplDb = plannedSplDb;
    ++numOrdered;
    workers.addJob([this, number, request, response = candidate->response]() mutable {
        if (number == newestCost.load()) {
            request.measured = *response;
            gui::FindingView finding;
            if (const auto made = tuning::computeCost(request)) {
                finding.sentences = toTexts(tuning::costSentences(request, *made));
                if (!finding.sentences.isEmpty()) {
                    finding.headline = finding.sentences[0];
                    finding.sentences.remove(0);
                }
                finding.isProblem = made->after.excursionMarginDb < 0.0
                                    || made->after.clipMarginDb < 0.0
                                    || made->after.powerMarginDb < 0.0;
            } else {
                finding = {toText(made.error().message), {}, true};
            }
            const std::lock_guard lock(outcomeMutex);
            costOutcome.emplace(number, std::move(finding));
        }
        ++numCarriedOut;
    });
}

void TuningDesk::orderVerdict()
{
    isVerdictOld = false;
    verdict.reset();
    const std::uint64_t number = ++newestVerdict;
    tuning::VerdictRequest request;
    // What a job has first is how the bike stands.
    request.currentProfile = opened->request.candidates.front().response.state.radioProfile;
    request.sufficiency.target = curveMaker.target();
    if (toneChoices.chosen >= 0)
        request.toneControls = toneControls[static_cast<std::size_t>(toneChoices.chosen)];
    ++numOrdered;
    workers.addJob([this, number, request, job = opened->job]() mutable {
        if (number == newestVerdict.load()) {
            gui::FindingView finding = findingOf(job, std::move(request));
            const std::lock_guard lock(outcomeMutex);
            verdictOutcome.emplace(number, std::move(finding));
        }
        ++numCarriedOut;
    });
}

bool TuningDesk::save()
{
    if (opened == nullptr)
        return false;
    history.endRun();
    auto written = writeDocument(stored, document());
    if (!written) {
        say(toText(written.error().message), true);
        return false;
    }
    stored = *std::move(written);
    keepDraft(true);
    say("Saved to the job.", false);
    return true;
}

void TuningDesk::discardUnsaved()
{
    if (opened == nullptr || document() == stored.document)
        return;
    history.restart(stored.document);
    keepDraft(true);
    documentChanged();
}

void TuningDesk::exportSettings(const juce::File& file)
{
    const DraftCandidate* const candidate = editedCandidate();
    if (candidate == nullptr)
        return;
    const auto written = tuning::exportFilters(tuningOf(*candidate), toPath(file), exportRate);
    if (written)
        say("Written: " + file.getFileName() + ".", false);
    else
        say(toText(written.error().message), true);
}

} // namespace saddletone::plugin
