#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** Colours by purpose. Text on any surface it is used on has a contrast of 4.5:1 or more; what a
    colour tells is always told by shape or words as well. */
struct Palette {
    juce::Colour background;
    juce::Colour panel;
    juce::Colour outline;
    juce::Colour text;
    juce::Colour mutedText;
    juce::Colour control;    ///< Buttons and fields.
    juce::Colour accent;     ///< Fill of what is selected.
    juce::Colour onAccent;   ///< Text on accent.
    juce::Colour accentLine; ///< Lines and text of what is selected, on panel.
    juce::Colour wind;
    juce::Colour warning; ///< Fill of what needs care.
    juce::Colour onWarning;
    juce::Colour road;
    juce::Colour roadMark;

    bool operator==(const Palette&) const = default;
};

[[nodiscard]] Palette darkPalette();
[[nodiscard]] Palette lightPalette();

/** Ratio of relative luminances by WCAG 2.1, 1 to 21. */
[[nodiscard]] double contrastRatio(juce::Colour first, juce::Colour second);

/** Smallest text of the program: height of the em square in pixels. */
inline constexpr float smallestTextPixels = 14.0F;

/** DejaVu Sans, in which the screens are laid out; where that is not installed, what JUCE takes for the
    system's sans-serif. Left to itself, JUCE takes whichever it finds first of a list of its own, so
    the screens would look otherwise on every machine. */
[[nodiscard]] const juce::String& textTypeface();

/** Of textTypeface(); pixels: em height, raised to smallestTextPixels if below. */
[[nodiscard]] juce::Font textFont(float pixels, int styleFlags = juce::Font::plain);

/** Draws text of several lines, wrapped at words, in its own size: what does not fit into the area
    ends in an ellipsis and is never made smaller. Returns the height of the lines in pixels. */
int drawWords(juce::Graphics& g, const juce::String& words, const juce::Font& font,
              juce::Colour colour, juce::Rectangle<int> area, juce::Justification justification);

/** What every control has: title and description for screen readers, the description as its tooltip,
    an outline where it has the keyboard. Adds it to its parent. Control: a juce::Button,
    juce::ComboBox or the like. */
template <typename Control>
void addControl(juce::Component& parent, Control& control, const juce::String& title,
                const juce::String& description)
{
    control.setTitle(title);
    control.setDescription(description);
    control.setTooltip(description);
    control.setMouseClickGrabsKeyboardFocus(false);
    control.setHasFocusOutline(true);
    parent.addAndMakeVisible(control);
}

/** Fills and frames the plate of a candidate; returns the colour to write on it with. */
juce::Colour drawPlate(juce::Graphics& g, const Palette& palette, juce::Rectangle<float> area,
                       bool isOn, bool isHighlighted, bool isDown);

/** Draws the program's controls in one palette. */
class Look final : public juce::LookAndFeel_V4 {
public:
    explicit Look(bool light);

    [[nodiscard]] const Palette& palette() const noexcept { return colours; }

    /** The default sans-serif is textTypeface(). Not set as LookAndFeel would have it, as that throws
        away every letter that was drawn, each time a window opens. */
    juce::Typeface::Ptr getTypefaceForFont(const juce::Font& font) override;
    juce::Font getTextButtonFont(juce::TextButton&, int buttonHeight) override;
    juce::Font getComboBoxFont(juce::ComboBox&) override;
    juce::Label* createComboBoxTextBox(juce::ComboBox&) override;
    juce::Font getLabelFont(juce::Label& label) override;
    juce::BorderSize<int> getLabelBorderSize(juce::Label& label) override;
    void drawLabel(juce::Graphics& g, juce::Label& label) override;
    void drawComboBoxTextWhenNothingSelected(juce::Graphics& g, juce::ComboBox& box,
                                             juce::Label& label) override;
    void drawButtonText(juce::Graphics& g, juce::TextButton& button, bool isHighlighted,
                        bool isDown) override;
    juce::Font getPopupMenuFont() override;
    void drawPopupMenuItem(juce::Graphics& g, const juce::Rectangle<int>& area, bool isSeparator,
                           bool isActive, bool isHighlighted, bool isTicked, bool hasSubMenu,
                           const juce::String& text, const juce::String& shortcutKeyText,
                           const juce::Drawable* icon, const juce::Colour* textColour) override;
    juce::AttributedString createFileChooserHeaderText(const juce::String& title,
                                                       const juce::String& instructions) override;
    void drawFileBrowserRow(juce::Graphics& g, int width, int height, const juce::File& file,
                            const juce::String& filename, juce::Image* icon,
                            const juce::String& fileSize, const juce::String& fileTime,
                            bool isDirectory, bool isSelected, int row,
                            juce::DirectoryContentsDisplayComponent& list) override;
    /** Gives the controls their names as well, which JUCE leaves out. */
    void layoutFileBrowserComponent(juce::FileBrowserComponent& browser,
                                    juce::DirectoryContentsDisplayComponent* list,
                                    juce::FilePreviewComponent* preview, juce::ComboBox* pathBox,
                                    juce::TextEditor* nameField, juce::Button* upButton) override;
    juce::Font getAlertWindowMessageFont() override;
    juce::Font getAlertWindowFont() override;
    juce::Font getAlertWindowTitleFont() override;

    void drawButtonBackground(juce::Graphics& g, juce::Button& button, const juce::Colour&,
                              bool isHighlighted, bool isDown) override;
    void drawLinearSlider(juce::Graphics& g, int x, int y, int width, int height,
                          float sliderPosition, float minimumPosition, float maximumPosition,
                          juce::Slider::SliderStyle style, juce::Slider& slider) override;
    juce::Rectangle<int> getTooltipBounds(const juce::String& text, juce::Point<int> position,
                                          juce::Rectangle<int> parentArea) override;
    void drawTooltip(juce::Graphics& g, const juce::String& text, int width, int height) override;
    int getSliderThumbRadius(juce::Slider&) override { return 9; }
    juce::Slider::SliderLayout getSliderLayout(juce::Slider& slider) override;

private:
    /** In the label's box, of the label's own size: what does not fit ends in an ellipsis. */
    void drawLabelText(juce::Graphics& g, juce::Label& label, const juce::String& text,
                       juce::Colour colour);
    [[nodiscard]] juce::TextLayout tooltipLayout(const juce::String& text) const;

    Palette colours;
};

/** The palette a component is drawn in; the dark one outside a Look. */
[[nodiscard]] Palette paletteOf(const juce::Component& component);

} // namespace saddletone::gui
