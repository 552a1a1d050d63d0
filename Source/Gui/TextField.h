#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>

namespace saddletone::gui {

/** A field for a line of text. Return or leaving the field takes it; Esc brings the old one back. */
class TextField final : public juce::TextEditor {
public:
    TextField(const juce::String& title, const juce::String& description, int maxCharacters);

    /** Called when the user has given another text. */
    std::function<void(const juce::String&)> onText;

    /** Shows a text, unless the user is typing one. */
    void show(const juce::String& newText);
    /** As it stands in the field, typed or shown. */
    [[nodiscard]] juce::String text() const { return getText().trim(); }

    bool keyPressed(const juce::KeyPress& key) override;
    void focusLost(FocusChangeType cause) override;
    void lookAndFeelChanged() override;

private:
    void take();

    juce::String taken;
};

} // namespace saddletone::gui
