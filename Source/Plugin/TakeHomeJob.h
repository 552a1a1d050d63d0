#pragma once

#include "Core/Audition/TakeHome.h"
#include "Gui/ProgrammeModel.h"
#include "Plugin/ProgrammePlayer.h"

#include <juce_core/juce_core.h>

#include <atomic>
#include <mutex>

namespace saddletone::plugin {

/** Writes what a customer takes home, in the background. For the message thread. */
class TakeHomeJob {
public:
    TakeHomeJob() = default;
    ~TakeHomeJob();
    TakeHomeJob(const TakeHomeJob&) = delete;
    TakeHomeJob& operator=(const TakeHomeJob&) = delete;

    /** request: without its programme, which is cut out of the part in the background, as a whole
        file is large. Nothing happens while another one runs. */
    void start(audition::TakeHomeRequest request, const ProgrammePlayer::HeardPart& part);
    void cancel() noexcept { cancelled.store(true); }
    /** Says why nothing was started. */
    void refuse(const juce::String& reason);
    [[nodiscard]] gui::TakeHomeView view() const;

private:
    std::atomic<bool> running {false};
    std::atomic<bool> cancelled {false};
    std::atomic<double> progress {0.0};
    mutable std::mutex wordsMutex;
    juce::String words;

    juce::ThreadPool worker {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
