#pragma once

#include "Gui/TaskView.h"

#include <juce_core/juce_core.h>

#include <atomic>
#include <functional>
#include <mutex>
#include <optional>

namespace saddletone::plugin {

/** One thing with whole jobs that is done in the background, with its progress. The functions are
    for the message thread. */
class BackgroundTask {
public:
    /** What came of it. */
    struct Outcome {
        juce::String words; ///< Empty: nothing to say.
        bool hasFailed = false;
        juce::File jobToOpen; ///< No file: none.
    };

    /** How the work tells of itself, from its own thread. */
    class Progress {
    public:
        explicit Progress(BackgroundTask& owner) : task(owner) {}

        /** newProportion: below 0: not known. Returns whether to go on. */
        bool operator()(const juce::String& newWords, double newProportion) const;
        [[nodiscard]] bool isCancelled() const { return task.cancelled.load(); }

    private:
        BackgroundTask& task;
    };

    BackgroundTask() = default;
    /** Cancels, and waits for the work to end. */
    ~BackgroundTask();
    BackgroundTask(const BackgroundTask&) = delete;
    BackgroundTask& operator=(const BackgroundTask&) = delete;

    [[nodiscard]] bool isRunning() const { return current != gui::JobTask::none; }
    /** Nothing must be running. What the work throws is its outcome. */
    void start(gui::JobTask task, const juce::String& words,
               std::function<Outcome(const Progress&)> work);
    void cancel() { cancelled.store(true); }
    [[nodiscard]] gui::JobTaskView view() const;
    /** The outcome, once, when the work has ended. */
    [[nodiscard]] std::optional<Outcome> take();

private:
    gui::JobTask current = gui::JobTask::none;
    std::atomic<bool> cancelled {false};
    mutable std::mutex mutex; // never taken by the audio thread
    juce::String words;
    double doneProportion = -1.0;
    std::optional<Outcome> outcome;

    juce::ThreadPool worker {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
