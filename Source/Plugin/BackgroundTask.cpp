#include "Plugin/BackgroundTask.h"

#include <exception>

namespace saddletone::plugin {

bool BackgroundTask::Progress::operator()(const juce::String& newWords, double newProportion) const
{
    const std::lock_guard lock(task.mutex);
    task.words = newWords;
    task.doneProportion = newProportion;
    return !task.cancelled.load();
}

BackgroundTask::~BackgroundTask()
{
    cancelled.store(true);
    worker.removeAllJobs(true, -1);
}

void BackgroundTask::start(gui::JobTask task, const juce::String& firstWords,
                           std::function<Outcome(const Progress&)> work)
{
    jassert(!isRunning());
    current = task;
    cancelled.store(false);
    {
        const std::lock_guard lock(mutex);
        words = firstWords;
        doneProportion = -1.0;
        outcome.reset();
    }
    worker.addJob([this, carryOut = std::move(work)] {
        Outcome made;
        try {
            made = carryOut(Progress(*this));
        } catch (const std::exception& exception) {
            made = {juce::String("It could not be done: ") + exception.what(), true, {}};
        }
        const std::lock_guard lock(mutex);
        outcome = std::move(made);
    });
}

gui::JobTaskView BackgroundTask::view() const
{
    const std::lock_guard lock(mutex);
    return {current, words, doneProportion};
}

std::optional<BackgroundTask::Outcome> BackgroundTask::take()
{
    const std::lock_guard lock(mutex);
    if (outcome)
        current = gui::JobTask::none;
    return std::exchange(outcome, std::nullopt);
}

} // namespace saddletone::plugin
