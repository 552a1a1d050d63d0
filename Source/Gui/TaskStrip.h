#pragma once

#include "Gui/TaskView.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>

namespace saddletone::gui {

/** What is being done in the background, how far it is, and a button to cancel it; or what the last
    command led to, until it is dismissed. */
class TaskStrip final : public juce::Component {
public:
    TaskStrip();

    std::function<void()> onCancel;
    std::function<void()> onDismiss;

    /** Becomes visible when there is anything to show. */
    void show(const JobTaskView& newTask, const juce::String& newMessage, bool newIsProblem);

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    [[nodiscard]] juce::String words() const;

    JobTaskView task;
    juce::String message;
    bool isProblem = false;
    juce::TextButton button;
};

} // namespace saddletone::gui
