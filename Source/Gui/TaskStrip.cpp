#include "Gui/TaskStrip.h"

#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int buttonWidth = 74;

} // namespace

TaskStrip::TaskStrip()
{
    setTitle("Progress");
    addControl(*this, button, "Cancel", "Stops what is being done.");
    button.onClick = [this] {
        const auto& answer = task.task != JobTask::none ? onCancel : onDismiss;
        if (answer)
            answer();
    };
    setVisible(false);
}

juce::String TaskStrip::words() const
{
    if (task.task == JobTask::none)
        return message;
    if (task.doneProportion < 0.0)
        return task.words;
    return task.words + ", "
           + juce::String(static_cast<int>(std::lround(100.0 * task.doneProportion))) + " %";
}

void TaskStrip::show(const JobTaskView& newTask, const juce::String& newMessage, bool newIsProblem)
{
    const juce::String oldWords = words();
    task = newTask;
    message = newMessage;
    isProblem = newIsProblem;
    const bool isRunning = task.task != JobTask::none;
    setVisible(isRunning || message.isNotEmpty());
    if (words() == oldWords)
        return;
    button.setButtonText(isRunning ? "Cancel" : "OK");
    button.setTitle(isRunning ? "Cancel" : "Dismiss the message");
    button.setDescription(isRunning ? "Stops what is being done." : "Takes this message away.");
    button.setTooltip(button.getDescription());
    setDescription(words());
    if (!isRunning && message.isNotEmpty() && isShowing())
        juce::AccessibilityHandler::postAnnouncement(
            message, juce::AccessibilityHandler::AnnouncementPriority::medium);
    repaint();
}

void TaskStrip::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    const auto area = getLocalBounds().toFloat().reduced(1.5F);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(area, 5.0F);
    g.setColour(isProblem && task.task == JobTask::none ? palette.warning : palette.outline);
    g.drawRoundedRectangle(area, 5.0F, 1.5F);
    auto content = getLocalBounds().reduced(10, 3).withTrimmedRight(buttonWidth + 6);
    if (task.task != JobTask::none) {
        auto bar = content.removeFromBottom(6).toFloat();
        g.setColour(palette.control);
        g.fillRoundedRectangle(bar, 3.0F);
        g.setColour(palette.accentLine);
        // Where nobody knows how far it is, the bar is full and pale.
        if (task.doneProportion < 0.0)
            g.setOpacity(0.4F);
        const auto share = static_cast<float>(
            task.doneProportion < 0.0 ? 1.0 : std::clamp(task.doneProportion, 0.0, 1.0));
        g.fillRoundedRectangle(bar.withWidth(bar.getWidth() * share), 3.0F);
    } else if (isProblem) {
        const auto mark = content.removeFromLeft(26).toFloat().withSizeKeepingCentre(20.0F, 20.0F);
        g.setColour(palette.warning);
        g.fillRoundedRectangle(mark, 3.0F);
        g.setColour(palette.onWarning);
        g.setFont(textFont(15.0F, juce::Font::bold));
        g.drawText("!", mark, juce::Justification::centred, false);
    }
    drawWords(g, words(), textFont(14.0F), palette.text, content, juce::Justification::centredLeft);
}

void TaskStrip::resized()
{
    button.setBounds(getLocalBounds().reduced(6, 5).removeFromRight(buttonWidth));
}

} // namespace saddletone::gui
