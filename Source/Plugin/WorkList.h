#pragma once

#include "Gui/TaskView.h"

#include <juce_core/juce_core.h>

#include <atomic>
#include <memory>
#include <vector>

namespace saddletone::plugin {

/** Work in the background, as its worker and the message thread share it. Any thread. */
class Work {
public:
    explicit Work(juce::String workWords) : words(std::move(workWords)) {}

    /** Tells the share that is done, 0 to 1; returns whether to go on. */
    bool operator()(double share) noexcept
    {
        doneProportion.store(share);
        return !isCancelled();
    }
    void cancel() noexcept { cancelled.store(true); }
    [[nodiscard]] bool isCancelled() const noexcept { return cancelled.load(); }
    /** 0 to 1; below 0: nothing was told yet. */
    [[nodiscard]] double doneShare() const noexcept { return doneProportion.load(); }

    const juce::String words; ///< What is being done.

private:
    std::atomic<bool> cancelled {false};
    std::atomic<double> doneProportion {-1.0};
    static_assert(std::atomic<double>::is_always_lock_free);
};

/** The works of one kind that are under way, one behind the other or at once; for one thread at a
    time. */
class WorkList {
public:
    /** What is over sooner is not worth a word. */
    static constexpr juce::uint32 shownAfterMs = 500;

    explicit WorkList(gui::JobTask kindOfWork) : kind(kindOfWork) {}

    [[nodiscard]] std::shared_ptr<Work> begin(const juce::String& words);
    void end(const std::shared_ptr<Work>& work);
    [[nodiscard]] bool isEmpty() const noexcept { return entries.empty(); }
    /** Asks all to end; each does at its next step. */
    void cancelAll();
    /** The longest under way of those that nobody cancelled; none before shownAfterMs.
        nowMs: by juce::Time::getMillisecondCounter(). */
    [[nodiscard]] gui::JobTaskView view(juce::uint32 nowMs) const;

private:
    struct Entry {
        std::shared_ptr<Work> work;
        juce::uint32 beganMs = 0;
    };

    gui::JobTask kind;
    std::vector<Entry> entries;
};

} // namespace saddletone::plugin
