#include "Plugin/TakeHomeJob.h"

#include "Plugin/Paths.h"

#include <exception>

namespace saddletone::plugin {

TakeHomeJob::~TakeHomeJob()
{
    cancelled.store(true);
    worker.removeAllJobs(true, -1);
}

void TakeHomeJob::refuse(const juce::String& reason)
{
    const std::lock_guard lock(wordsMutex);
    words = reason;
}

void TakeHomeJob::start(audition::TakeHomeRequest request)
{
    if (running.exchange(true))
        return;
    cancelled.store(false);
    progress.store(0.0);
    worker.addJob([this, task = std::move(request)] {
        juce::String outcome;
        try {
            const auto written = audition::writeTakeHome(task, [this](double share) {
                progress.store(share);
                return !cancelled.load();
            });
            outcome = written ? juce::String(static_cast<int>(written->files.size()))
                                    + " files and their card are in "
                                    + toFile(task.folder).getFullPathName()
                              : toText(written.error().message);
        } catch (const std::exception& exception) {
            outcome = juce::String("nothing was written: ") + exception.what()
                      + "; a shorter part may fit into memory";
        }
        {
            const std::lock_guard lock(wordsMutex);
            words = outcome;
        }
        running.store(false);
    });
}

gui::TakeHomeView TakeHomeJob::view() const
{
    gui::TakeHomeView view;
    view.isRunning = running.load();
    view.progress = progress.load();
    const std::lock_guard lock(wordsMutex);
    view.words = words;
    return view;
}

} // namespace saddletone::plugin
