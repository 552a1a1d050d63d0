#include "Gui/NoticePanel.h"

#include "Gui/Look.h"
#include "Gui/TabKey.h"

#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int margin = 20;
constexpr int headingHeight = 36;
constexpr int buttonHeight = 36;

} // namespace

NoticePanel::NoticePanel(Kind noticeKind, const juce::String& title, const juce::String& buttonText)
    : kind(noticeKind), heading(title), button(buttonText)
{
    setTitle(title);
    button.setTitle(buttonText);
    button.setDescription("Closes this message.");
    button.setMouseClickGrabsKeyboardFocus(false);
    button.setHasFocusOutline(true);
    button.onClick = [this] {
        if (onDismiss)
            onDismiss();
    };
    addAndMakeVisible(button);
    declineButton.setMouseClickGrabsKeyboardFocus(false);
    declineButton.setHasFocusOutline(true);
    declineButton.onClick = [this] {
        if (onDecline)
            onDecline();
    };
    setDecline("Leave it as it is");
    declineButton.setVisible(false);
    addChildComponent(declineButton);
    setWantsKeyboardFocus(kind == Kind::safety);
}

void NoticePanel::setDecline(const juce::String& buttonText)
{
    declineButton.setButtonText(buttonText);
    declineButton.setTitle(buttonText);
    declineButton.setDescription("Closes this message and leaves everything as it is.");
    declineButton.setVisible(true);
}

void NoticePanel::setText(const juce::String& newText)
{
    if (text == newText)
        return;
    text = newText;
    setDescription(text);
    repaint();
}

juce::AttributedString NoticePanel::attributedText(juce::Colour colour) const
{
    juce::AttributedString attributed;
    attributed.append(text, textFont(16.0F), colour);
    attributed.setWordWrap(juce::AttributedString::byWord);
    attributed.setLineSpacing(3.0F);
    return attributed;
}

int NoticePanel::heightFor(int width) const
{
    juce::TextLayout layout;
    layout.createLayout(attributedText(juce::Colours::white),
                        static_cast<float>(width - 2 * margin));
    return static_cast<int>(std::ceil(layout.getHeight())) + headingHeight + buttonHeight
           + 3 * margin;
}

void NoticePanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    const auto area = getLocalBounds().toFloat();
    const juce::Colour edge = kind == Kind::problem ? palette.warning : palette.accent;
    g.setColour(palette.panel);
    g.fillRoundedRectangle(area, 8.0F);
    g.setColour(edge);
    g.drawRoundedRectangle(area.reduced(1.5F), 8.0F, 3.0F);
    g.fillRect(area.withWidth(10.0F).reduced(0.0F, 8.0F));

    auto content = getLocalBounds().reduced(margin);
    g.setColour(palette.text);
    g.setFont(textFont(19.0F, juce::Font::bold));
    g.drawText(heading, content.removeFromTop(headingHeight), juce::Justification::topLeft, true);
    content.removeFromBottom(buttonHeight + margin / 2);
    attributedText(palette.text).draw(g, content.toFloat());
}

void NoticePanel::resized()
{
    auto row = getLocalBounds().reduced(margin).removeFromBottom(buttonHeight);
    button.setBounds(row.removeFromRight(180));
    row.removeFromRight(10);
    declineButton.setBounds(row.removeFromRight(200));
}

void NoticePanel::holdInput()
{
    setFocusContainerType(FocusContainerType::keyboardFocusContainer);
    veil = std::make_unique<NoteVeil>(*this);
}

bool NoticePanel::keyPressed(const juce::KeyPress& key)
{
    if (isKeyboardFocusContainer() && tabInto(*this, key))
        return true;
    if (key != juce::KeyPress::escapeKey && key != juce::KeyPress::returnKey)
        return false;
    const bool declines = declineButton.isVisible() && key == juce::KeyPress::escapeKey;
    if (const auto& answer = declines ? onDecline : onDismiss)
        answer();
    return true;
}

} // namespace saddletone::gui
