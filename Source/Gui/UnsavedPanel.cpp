#include "Gui/UnsavedPanel.h"

#include "Gui/Look.h"
#include "Gui/TabKey.h"

namespace saddletone::gui {

namespace {

constexpr const char* question = "The tuning has changes that are not in the job's folder yet.";

} // namespace

UnsavedPanel::UnsavedPanel()
{
    setTitle("Changes are not saved");
    setDescription(question);
    setWantsKeyboardFocus(true);
    setFocusContainerType(FocusContainerType::keyboardFocusContainer); // what is behind it can wait
    const auto prepare = [this](juce::TextButton& button, const char* description, Answer answer) {
        button.setTitle(button.getButtonText());
        button.setDescription(description);
        button.setTooltip(description);
        button.setHasFocusOutline(true);
        button.onClick = [this, answer] { onAnswer(answer); };
        addAndMakeVisible(button);
    };
    prepare(saveButton, "Writes the tuning into the job's folder first. Key: Return.",
            Answer::save);
    prepare(letGoButton, "The changes are lost.", Answer::letGo);
    prepare(stayButton, "Goes back to the tuning. Key: Esc.", Answer::stay);
}

void UnsavedPanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    const auto area = getLocalBounds().toFloat();
    g.setColour(palette.panel);
    g.fillRoundedRectangle(area, 8.0F);
    g.setColour(palette.accent);
    g.drawRoundedRectangle(area.reduced(1.5F), 8.0F, 3.0F);
    g.fillRect(area.withWidth(10.0F).reduced(0.0F, 8.0F));
    auto content = getLocalBounds().reduced(22, 18);
    g.setColour(palette.text);
    g.setFont(textFont(19.0F, juce::Font::bold));
    g.drawText(getTitle(), content.removeFromTop(30), juce::Justification::topLeft, true);
    drawWords(g, question, textFont(16.0F), palette.text, content.removeFromTop(46),
              juce::Justification::topLeft);
}

void UnsavedPanel::resized()
{
    auto row = getLocalBounds().reduced(22, 18).removeFromBottom(38);
    const int width = (row.getWidth() - 20) / 3;
    for (juce::TextButton* button : {&saveButton, &letGoButton, &stayButton}) {
        button->setBounds(row.removeFromLeft(width));
        row.removeFromLeft(10);
    }
}

bool UnsavedPanel::keyPressed(const juce::KeyPress& key)
{
    if (tabInto(*this, key))
        return true;
    if (key == juce::KeyPress::returnKey)
        onAnswer(Answer::save);
    else if (key == juce::KeyPress::escapeKey)
        onAnswer(Answer::stay);
    else
        return false;
    return true;
}

} // namespace saddletone::gui
