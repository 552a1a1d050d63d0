#include "Gui/NumberField.h"

#include "Gui/ElementWords.h"
#include "Gui/FieldLook.h"
#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

NumberField::NumberField(const juce::String& title, const juce::String& description,
                         Limits fieldLimits, std::function<juce::String(double)> toText)
    : limits(fieldLimits), textOf(std::move(toText))
{
    setTitle(title);
    setDescription(description);
    setTooltip(description);
    setFont(textFont(15.0F));
    setJustification(juce::Justification::centredRight);
    setIndents(6, 0);
    setSelectAllWhenFocused(true);
    setEscapeAndReturnKeysConsumed(false);
    setHasFocusOutline(true);
    onReturnKey = [this] {
        takeText();
        selectAll();
    };
    showText();
}

void NumberField::show(double newNumber)
{
    if (newNumber == value)
        return;
    value = newNumber;
    showText();
}

void NumberField::showText()
{
    setText(textOf(value), false);
}

void NumberField::set(double newNumber)
{
    const double kept = std::clamp(newNumber, limits.lowest, limits.highest);
    const bool isOther = kept != value;
    value = kept;
    showText();
    if (isOther && onNumber)
        onNumber(value);
}

void NumberField::takeText()
{
    // What is shown is rounded: unless it was touched the exact number stays.
    if (getText() == textOf(value))
        return;
    if (const auto typed = parseNumber(getText()))
        set(*typed);
    else
        showText();
}

bool NumberField::keyPressed(const juce::KeyPress& key)
{
    if (key.getModifiers().isCommandDown() && juce::KeyPress('z').isKeyCode(key.getKeyCode()))
        return false; // undoes the tuning, not the typing
    if (key == juce::KeyPress::escapeKey && getText() != textOf(value)) {
        showText();
        return true;
    }
    const bool isUp = key.isKeyCode(juce::KeyPress::upKey);
    if (isUp || key.isKeyCode(juce::KeyPress::downKey)) {
        takeText();
        const double fine = key.getModifiers().isShiftDown() ? 0.1 : 1.0;
        if (limits.isStepRatio)
            set(value * std::pow(limits.step, isUp ? fine : -fine));
        else
            set(value + (isUp ? fine : -fine) * limits.step);
        selectAll();
        return true;
    }
    return juce::TextEditor::keyPressed(key);
}

void NumberField::focusLost(FocusChangeType cause)
{
    takeText();
    juce::TextEditor::focusLost(cause);
}

void NumberField::lookAndFeelChanged()
{
    colourField(*this);
}

} // namespace saddletone::gui
