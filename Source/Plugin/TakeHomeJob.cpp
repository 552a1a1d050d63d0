#include "Plugin/TakeHomeJob.h"

#include "Core/Dsp/Units.h"
#include "Plugin/Paths.h"

#include <exception>
#include <memory>

namespace saddletone::plugin {

namespace {

/** The part as it is heard, apart from candidate and ride. */
dsp::AudioBuffer cutOut(const ProgrammePlayer::HeardPart& part)
{
    dsp::AudioBuffer programme {part.audio->sampleRate, {}};
    const auto gain = static_cast<float>(dsp::dbToAmplitude(part.gainDb));
    for (const std::vector<float>& channel : part.audio->channels) {
        auto& cut = programme.channels.emplace_back(
            channel.begin() + static_cast<std::ptrdiff_t>(part.beginFrame),
            channel.begin() + static_cast<std::ptrdiff_t>(part.endFrame));
        for (float& sample : cut)
            sample *= gain;
    }
    return programme;
}

} // namespace

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

void TakeHomeJob::start(audition::TakeHomeRequest request, const ProgrammePlayer::HeardPart& part)
{
    if (running.exchange(true))
        return;
    cancelled.store(false);
    progress.store(0.0);
    // The pool copies what it is given.
    worker.addJob(
        [this, part, given = std::make_shared<audition::TakeHomeRequest>(std::move(request))] {
            juce::String outcome;
            audition::TakeHomeRequest& task = *given;
            try {
                task.programme = cutOut(part);
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
