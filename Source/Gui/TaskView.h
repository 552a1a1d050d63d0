#pragma once

#include <juce_core/juce_core.h>

namespace saddletone::gui {

/** What is done in the background: with whole jobs, at the bench, or with a file to be heard. */
enum class JobTask {
    none,
    opening,
    demo,
    copying,
    archiving,
    unpacking,
    reporting,
    bench,
    programme
};

/** How far it is. */
struct JobTaskView {
    JobTask task = JobTask::none;
    juce::String words;           ///< What is being done.
    double doneProportion = -1.0; ///< Below 0: not known.
};

} // namespace saddletone::gui
