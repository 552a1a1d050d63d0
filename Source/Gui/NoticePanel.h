#pragma once

#include "Gui/NoteVeil.h"

#include <functional>
#include <memory>

namespace saddletone::gui {

/** A message in the window that stays until it is dismissed, or a question with two answers. */
class NoticePanel final : public juce::Component {
public:
    enum class Kind { problem, safety };

    NoticePanel(Kind noticeKind, const juce::String& title, const juce::String& buttonText);

    std::function<void()> onDismiss;
    /** With a second button, which Esc presses; without it Esc dismisses as well. */
    std::function<void()> onDecline;
    void setDecline(const juce::String& buttonText);

    /** Has Tab go round in the panel, and the mouse reach nothing else in its parent while it is
        visible, for one whose answer everything there is to wait for. */
    void holdInput();
    void setText(const juce::String& newText);
    [[nodiscard]] const juce::String& getText() const noexcept { return text; }
    /** Height the panel needs at a width. */
    [[nodiscard]] int heightFor(int width) const;

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;

private:
    [[nodiscard]] juce::AttributedString attributedText(juce::Colour colour) const;

    Kind kind;
    juce::String heading;
    juce::String text;
    juce::TextButton button;
    juce::TextButton declineButton;
    std::unique_ptr<NoteVeil> veil; // null where it holds nothing
};

} // namespace saddletone::gui
