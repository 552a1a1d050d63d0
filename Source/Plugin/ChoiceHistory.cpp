#include "Plugin/ChoiceHistory.h"

#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"

#include <utility>

namespace saddletone::plugin {

namespace {

namespace ids = gui::parameterIds;

struct Choice {
    const char* id;
    const char* words;
};

constexpr std::array choices {Choice {ids::candidate, "choice of candidate"},
                              Choice {ids::speedKmh, "speed"},
                              Choice {ids::helmet, "helmet"},
                              Choice {ids::screen, "screen"},
                              Choice {ids::earPlugs, "ear plugs"},
                              Choice {ids::engineNoise, "engine noise"},
                              Choice {ids::radioVolumeDb, "radio volume"},
                              Choice {ids::monitor, "what is heard"},
                              Choice {ids::levelMatch, "level match"}};

/** After so many updates without a change, about 0.7 s, the next change is a step of its own. */
constexpr int updatesUntilStep = 20;

constexpr std::size_t maxSteps = 200;

} // namespace

ChoiceHistory::ChoiceHistory(AuditionProcessor& auditionProcessor, EditLine& editLine)
    : processor(auditionProcessor), line(editLine)
{
    static_assert(choices.size() == numChoices);
    line.add(*this);
}

ChoiceHistory::Choices ChoiceHistory::current() const
{
    Choices values {};
    for (std::size_t index = 0; index < numChoices; ++index)
        values[index] = gui::parameterValue(processor.parameters(), choices[index].id);
    return values;
}

std::optional<EditSource::Step> ChoiceHistory::stepOf(const std::vector<Chosen>& steps)
{
    if (steps.empty())
        return std::nullopt;
    return Step {steps.back().words, steps.back().order};
}

void ChoiceHistory::update()
{
    const Choices now = current();
    if (const AuditionProcessor::OpenedJob opened = processor.openedJob();
        opened.number != openedNumber) {
        // A job starts with a ride of its own, and where it is but read again that is no edit.
        openedNumber = opened.number;
        isAbsorbing = true;
        const auto folder =
            opened.loaded != nullptr ? opened.loaded->job.folder : std::filesystem::path();
        if (folder.empty() || folder != openedFolder) {
            undoable.clear();
            redoable.clear();
        }
        openedFolder = folder;
    }
    if (isAbsorbing || processor.blindTests().isRunning()) {
        isAbsorbing = false;
        isRunning = false;
        known = now;
    } else if (now != known) {
        numQuietUpdates = 0;
        record(now);
    } else if (++numQuietUpdates == updatesUntilStep) {
        isRunning = false;
    }
}

void ChoiceHistory::record(const Choices& now)
{
    Chosen step;
    step.before = std::exchange(known, now);
    step.after = now;
    for (std::size_t index = 0; index < numChoices; ++index)
        if (step.before[index] != now[index]) {
            step.changed.set(index);
            step.words = choices[index].words;
        }
    if (step.changed.count() > 1)
        step.words = "ride";
    step.order = line.begin(*this);
    redoable.clear();
    if (isRunning && !undoable.empty() && undoable.back().changed == step.changed) {
        undoable.back().after = now;
        return;
    }
    isRunning = true;
    undoable.push_back(std::move(step));
    if (undoable.size() > maxSteps)
        undoable.erase(undoable.begin());
}

void ChoiceHistory::set(const Chosen& step, const Choices& values)
{
    for (std::size_t index = 0; index < numChoices; ++index)
        if (step.changed[index])
            gui::setParameter(processor.parameters(), choices[index].id, values[index]);
    // A parameter keeps a value to its own rounding.
    known = current();
    isRunning = false;
}

void ChoiceHistory::undo()
{
    redoable.push_back(std::move(undoable.back()));
    undoable.pop_back();
    set(redoable.back(), redoable.back().before);
}

void ChoiceHistory::redo()
{
    undoable.push_back(std::move(redoable.back()));
    redoable.pop_back();
    set(undoable.back(), undoable.back().after);
}

void ChoiceHistory::editedElsewhere()
{
    redoable.clear();
    isRunning = false;
    isAbsorbing = true;
}

} // namespace saddletone::plugin
