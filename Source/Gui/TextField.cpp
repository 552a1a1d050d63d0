#include "Gui/TextField.h"

#include "Gui/FieldLook.h"
#include "Gui/Look.h"

namespace saddletone::gui {

TextField::TextField(const juce::String& title, const juce::String& description, int maxCharacters)
{
    setTitle(title);
    setDescription(description);
    setTooltip(description);
    setFont(textFont(15.0F));
    setJustification(juce::Justification::centredLeft);
    setIndents(8, 0);
    setInputRestrictions(maxCharacters);
    setEscapeAndReturnKeysConsumed(false);
    setHasFocusOutline(true);
    onReturnKey = [this] { take(); };
}

void TextField::show(const juce::String& newText)
{
    if (newText == taken)
        return;
    const bool isTyping = hasKeyboardFocus(true) && text() != taken;
    taken = newText;
    if (isTyping)
        return;
    setText(taken, false);
    setCaretPosition(0);
}

void TextField::take()
{
    if (text() == taken)
        return;
    taken = text();
    if (onText)
        onText(taken);
}

bool TextField::keyPressed(const juce::KeyPress& key)
{
    if (key == juce::KeyPress::escapeKey && getText() != taken) {
        setText(taken, false);
        return true;
    }
    // What was typed here is taken back here; what is taken already by whoever keeps it.
    if (key.getModifiers().isCommandDown() && juce::KeyPress('z').isKeyCode(key.getKeyCode())
        && text() == taken)
        return false;
    return juce::TextEditor::keyPressed(key);
}

void TextField::focusLost(FocusChangeType cause)
{
    take();
    juce::TextEditor::focusLost(cause);
}

void TextField::lookAndFeelChanged()
{
    colourField(*this);
}

} // namespace saddletone::gui
