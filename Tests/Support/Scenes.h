#pragma once

#include "Support/JobRig.h"
#include "Support/OffscreenWindow.h"

#include <functional>
#include <vector>

namespace saddletone::test {

/** The program's window and what it is shown in, with the made-up job and music open or with none. */
struct Stage {
    JobWindow jobs;
    OffscreenWindow window;

    explicit Stage(bool hasJob);

    gui::AuditionEditor& editor() { return *jobs.editor; }
    void type(const juce::KeyPress& key);
    void type(char character);
    /** Lets the event's clock go on. */
    void pass(double seconds);
};

/** Something that the window can show. */
struct Scene {
    const char* name;
    bool needsJob = true;
    std::function<void(Stage&)> set; ///< On a stage that nothing has been done with.
};

/** Everything that the window can show: places, their panels, and what may cover them. */
[[nodiscard]] const std::vector<Scene>& allScenes();
/** One of them; a failed test if there is none. */
[[nodiscard]] const Scene& sceneOf(const juce::String& name);

} // namespace saddletone::test
