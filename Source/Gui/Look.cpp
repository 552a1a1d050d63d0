#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

Palette darkPalette()
{
    Palette palette;
    palette.background = juce::Colour(0xff12161b);
    palette.panel = juce::Colour(0xff1c222a);
    palette.outline = juce::Colour(0xff495563);
    palette.text = juce::Colour(0xfff3f1ec);
    palette.mutedText = juce::Colour(0xffb9c2cc);
    palette.control = juce::Colour(0xff2b343f);
    palette.accent = juce::Colour(0xffedb247);
    palette.onAccent = juce::Colour(0xff16120a);
    palette.accentLine = juce::Colour(0xffedb247);
    palette.wind = juce::Colour(0xff6fb1e8);
    palette.warning = juce::Colour(0xffff9478);
    palette.onWarning = juce::Colour(0xff1d0a05);
    palette.road = juce::Colour(0xff39424d);
    palette.roadMark = juce::Colour(0xffdcd7c9);
    return palette;
}

Palette lightPalette()
{
    Palette palette;
    palette.background = juce::Colour(0xffeceae4);
    palette.panel = juce::Colour(0xfffaf9f6);
    palette.outline = juce::Colour(0xff8a929b);
    palette.text = juce::Colour(0xff15191e);
    palette.mutedText = juce::Colour(0xff454e58);
    palette.control = juce::Colour(0xffdedbd3);
    palette.accent = juce::Colour(0xfff0b13d);
    palette.onAccent = juce::Colour(0xff16120a);
    palette.accentLine = juce::Colour(0xff8a4b00);
    palette.wind = juce::Colour(0xff1f5c97);
    palette.warning = juce::Colour(0xffa62b0c);
    palette.onWarning = juce::Colour(0xffffffff);
    palette.road = juce::Colour(0xff5b636c);
    palette.roadMark = juce::Colour(0xfff7f3e7);
    return palette;
}

namespace {

double relativeLuminance(juce::Colour colour)
{
    const auto linear = [](float component) {
        const auto value = static_cast<double>(component);
        return value <= 0.03928 ? value / 12.92 : std::pow((value + 0.055) / 1.055, 2.4);
    };
    return 0.2126 * linear(colour.getFloatRed()) + 0.7152 * linear(colour.getFloatGreen())
           + 0.0722 * linear(colour.getFloatBlue());
}

} // namespace

double contrastRatio(juce::Colour first, juce::Colour second)
{
    const auto [darker, lighter] =
        std::minmax({relativeLuminance(first), relativeLuminance(second)});
    return (lighter + 0.05) / (darker + 0.05);
}

const juce::String& textTypeface()
{
    static const juce::String name = [] {
        const juce::String laidOutIn = "DejaVu Sans";
        return juce::Font::findAllTypefaceNames().contains(laidOutIn)
                   ? laidOutIn
                   : juce::Font::getDefaultSansSerifFontName();
    }();
    return name;
}

juce::Font textFont(float pixels, int styleFlags)
{
    // JUCE counts a font's height from ascender to descender; here it is the em square.
    return juce::Font(textTypeface(), pixels, styleFlags)
        .withPointHeight(std::max(pixels, smallestTextPixels));
}

Look::Look(bool light) : colours(light ? lightPalette() : darkPalette())
{
    setColourScheme({colours.background, colours.control, colours.panel, colours.outline,
                     colours.text, colours.accent, colours.onAccent, colours.accent, colours.text});
    setColour(juce::ResizableWindow::backgroundColourId, colours.background);
    setColour(juce::TextButton::buttonColourId, colours.control);
    setColour(juce::TextButton::buttonOnColourId, colours.accent);
    setColour(juce::TextButton::textColourOffId, colours.text);
    setColour(juce::TextButton::textColourOnId, colours.onAccent);
    setColour(juce::ComboBox::backgroundColourId, colours.control);
    setColour(juce::ComboBox::textColourId, colours.text);
    setColour(juce::ComboBox::outlineColourId, colours.outline);
    setColour(juce::ComboBox::arrowColourId, colours.text);
    setColour(juce::Label::textColourId, colours.text);
    setColour(juce::Slider::thumbColourId, colours.accent);
    setColour(juce::Slider::trackColourId, colours.accent);
    setColour(juce::Slider::backgroundColourId, colours.control);
    setColour(juce::Slider::textBoxTextColourId, colours.text);
    setColour(juce::Slider::textBoxBackgroundColourId, colours.control);
    setColour(juce::Slider::textBoxOutlineColourId, colours.outline);
    setColour(juce::Slider::textBoxHighlightColourId, colours.accent);
    setColour(juce::TextEditor::focusedOutlineColourId, colours.accentLine);
    setColour(juce::TextEditor::highlightedTextColourId, colours.onAccent);
    setColour(juce::DirectoryContentsDisplayComponent::textColourId, colours.text);
    setColour(juce::DirectoryContentsDisplayComponent::highlightColourId, colours.accent);
    setColour(juce::DirectoryContentsDisplayComponent::highlightedTextColourId, colours.onAccent);
    setColour(juce::FileChooserDialogBox::titleTextColourId, colours.text);
    setColour(juce::PopupMenu::backgroundColourId, colours.panel);
    setColour(juce::PopupMenu::textColourId, colours.text);
    setColour(juce::PopupMenu::highlightedBackgroundColourId, colours.accent);
    setColour(juce::PopupMenu::highlightedTextColourId, colours.onAccent);
}

juce::Typeface::Ptr Look::getTypefaceForFont(const juce::Font& font)
{
    if (font.getTypefaceName() != juce::Font::getDefaultSansSerifFontName())
        return LookAndFeel_V4::getTypefaceForFont(font);
    juce::Font named(font);
    named.setTypefaceName(textTypeface());
    return LookAndFeel_V4::getTypefaceForFont(named);
}

juce::Font Look::getTextButtonFont(juce::TextButton&, int buttonHeight)
{
    constexpr int touchHeight = 60; // pressed with a finger, read from further away
    return textFont(buttonHeight >= touchHeight ? 19.0F : 15.0F);
}

juce::Font Look::getComboBoxFont(juce::ComboBox&)
{
    return textFont(15.0F);
}

juce::Label* Look::createComboBoxTextBox(juce::ComboBox&)
{
    auto label = std::make_unique<juce::Label>();
    label->setMinimumHorizontalScale(1.0F); // an ellipsis can be read, squeezed letters cannot
    return label.release();                 // the box takes it over
}

juce::Font Look::getLabelFont(juce::Label& label)
{
    const juce::Font font = label.getFont();
    return font.withPointHeight(std::max(font.getHeightInPoints(), smallestTextPixels));
}

juce::BorderSize<int> Look::getLabelBorderSize(juce::Label& label)
{
    // Names of fields need the width; values of boxes and sliders keep their distance from the frame.
    const juce::Component* const parent = label.getParentComponent();
    if (dynamic_cast<const juce::ComboBox*>(parent) != nullptr)
        return {1, 5, 1, 0}; // its arrow stands apart by itself
    return dynamic_cast<const juce::Slider*>(parent) != nullptr ? label.getBorderSize()
                                                                : juce::BorderSize<int>(1, 2, 1, 2);
}

void Look::drawLabelText(juce::Graphics& g, juce::Label& label, const juce::String& text,
                         juce::Colour colour)
{
    const juce::Font font = getLabelFont(label);
    const auto area = getLabelBorderSize(label).subtractedFrom(label.getLocalBounds());
    const auto numLines = static_cast<int>(static_cast<float>(area.getHeight()) / font.getHeight());
    g.setColour(colour);
    g.setFont(font);
    g.drawFittedText(text, area, label.getJustificationType(), std::max(1, numLines), 1.0F);
}

void Look::drawLabel(juce::Graphics& g, juce::Label& label)
{
    g.fillAll(label.findColour(juce::Label::backgroundColourId));
    const float alpha = label.isEnabled() ? 1.0F : 0.5F;
    if (!label.isBeingEdited())
        drawLabelText(g, label, label.getText(),
                      label.findColour(juce::Label::textColourId).withMultipliedAlpha(alpha));
    g.setColour(label.findColour(juce::Label::outlineColourId).withMultipliedAlpha(alpha));
    g.drawRect(label.getLocalBounds());
}

void Look::drawComboBoxTextWhenNothingSelected(juce::Graphics& g, juce::ComboBox& box,
                                               juce::Label& label)
{
    drawLabelText(g, label, box.getTextWhenNothingSelected(),
                  colours.mutedText.withMultipliedAlpha(box.isEnabled() ? 1.0F : 0.5F));
}

void Look::drawButtonText(juce::Graphics& g, juce::TextButton& button, bool, bool)
{
    const juce::Colour ink =
        button
            .findColour(button.getToggleState() ? juce::TextButton::textColourOnId
                                                : juce::TextButton::textColourOffId)
            .withMultipliedAlpha(button.isEnabled() ? 1.0F : 0.5F);
    drawWords(g, button.getButtonText(), getTextButtonFont(button, button.getHeight()), ink,
              button.getLocalBounds().reduced(5, 0), juce::Justification::centred);
}

juce::Font Look::getPopupMenuFont()
{
    return textFont(15.0F);
}

void Look::drawPopupMenuItem(juce::Graphics& g, const juce::Rectangle<int>& area, bool isSeparator,
                             bool isActive, bool isHighlighted, bool isTicked, bool hasSubMenu,
                             const juce::String& text, const juce::String& shortcutKeyText,
                             const juce::Drawable* icon, const juce::Colour* textColour)
{
    if (isSeparator || icon != nullptr || textColour != nullptr) {
        juce::LookAndFeel_V4::drawPopupMenuItem(g, area, isSeparator, isActive, isHighlighted,
                                                isTicked, hasSubMenu, text, shortcutKeyText, icon,
                                                textColour);
        return;
    }
    auto row = area.reduced(1);
    juce::Colour ink = isActive ? colours.text : colours.mutedText;
    if (isActive && isHighlighted) {
        g.setColour(colours.accent);
        g.fillRect(row);
        ink = colours.onAccent;
    }
    row.reduce(5, 0);
    const auto tickArea = row.removeFromLeft(row.getHeight()).toFloat().reduced(4.0F);
    g.setColour(ink);
    if (isTicked) {
        const juce::Path tick = getTickShape(1.0F);
        g.fillPath(tick, tick.getTransformToScaleToFit(tickArea, true));
    }
    // What cannot be chosen now has a bar before it, so that it is not told by its colour alone.
    if (!isActive && !isTicked)
        g.fillRect(tickArea.withSizeKeepingCentre(10.0F, 2.0F));
    const auto arrowArea = row.removeFromRight(hasSubMenu ? 10 : 3).toFloat();
    if (hasSubMenu) {
        const auto arrow = arrowArea.withSizeKeepingCentre(6.0F, 11.0F);
        juce::Path path;
        path.startNewSubPath(arrow.getTopLeft());
        path.lineTo(arrow.getRight(), arrow.getCentreY());
        path.lineTo(arrow.getBottomLeft());
        g.strokePath(path, juce::PathStrokeType(2.0F));
    }
    g.setFont(getPopupMenuFont());
    g.drawText(text, row, juce::Justification::centredLeft, true);
    g.drawText(shortcutKeyText, row, juce::Justification::centredRight, false);
}

juce::AttributedString Look::createFileChooserHeaderText(const juce::String& title,
                                                         const juce::String& instructions)
{
    juce::AttributedString text;
    text.setJustification(juce::Justification::centred);
    text.append(title + "\n", textFont(17.0F, juce::Font::bold), colours.text);
    text.append(instructions, textFont(14.0F), colours.text);
    return text;
}

void Look::drawFileBrowserRow(juce::Graphics& g, int width, int height, const juce::File&,
                              const juce::String& filename, juce::Image*,
                              const juce::String& fileSize, const juce::String& fileTime,
                              bool isDirectory, bool isSelected, int,
                              juce::DirectoryContentsDisplayComponent&)
{
    auto row = juce::Rectangle<int>(width, height);
    if (isSelected) {
        g.setColour(colours.accent);
        g.fillRect(row);
    }
    g.setColour(isSelected ? colours.onAccent : colours.text);
    const auto signArea = row.removeFromLeft(34).toFloat().reduced(8.0F, 5.0F);
    if (isDirectory)
        g.fillRoundedRectangle(signArea, 2.0F);
    else
        g.drawRoundedRectangle(signArea.reduced(3.0F, 0.0F), 1.0F, 1.5F);
    row.removeFromRight(8);
    g.setFont(textFont(14.0F));
    if (!isDirectory && width > 450) {
        g.drawText(fileTime, row.removeFromRight(150), juce::Justification::centredRight, true);
        g.drawText(fileSize, row.removeFromRight(84), juce::Justification::centredRight, true);
        row.removeFromRight(8);
    }
    g.drawText(filename, row, juce::Justification::centredLeft, true);
}

void Look::layoutFileBrowserComponent(juce::FileBrowserComponent& browser,
                                      juce::DirectoryContentsDisplayComponent* list,
                                      juce::FilePreviewComponent*, juce::ComboBox* pathBox,
                                      juce::TextEditor* nameField, juce::Button* upButton)
{
    constexpr int rowHeight = 30;
    constexpr int gap = 6;
    pathBox->setTooltip("The folder that is shown; another one can be typed or chosen.");
    upButton->setTitle("Folder above");
    upButton->setTooltip("Goes to the folder above.");
    nameField->setTitle("Name");
    nameField->applyFontToAllText(textFont(15.0F)); // there may be a name in it already
    nameField->setIndents(6, 5);
    auto area = browser.getLocalBounds().reduced(8, 4);
    auto top = area.removeFromTop(rowHeight);
    upButton->setBounds(top.removeFromRight(50));
    top.removeFromRight(gap);
    pathBox->setBounds(top);
    area.removeFromTop(gap);
    nameField->setBounds(area.removeFromBottom(rowHeight).withTrimmedLeft(50));
    area.removeFromBottom(gap);
    if (auto* const box = dynamic_cast<juce::ListBox*>(list)) {
        box->setTitle("Files and folders");
        box->setRowHeight(26);
        box->setBounds(area);
    }
}

juce::Font Look::getAlertWindowMessageFont()
{
    return textFont(15.0F);
}

juce::Font Look::getAlertWindowFont()
{
    return textFont(15.0F);
}

juce::Font Look::getAlertWindowTitleFont()
{
    return textFont(18.0F, juce::Font::bold);
}

void Look::drawButtonBackground(juce::Graphics& g, juce::Button& button, const juce::Colour&,
                                bool isHighlighted, bool isDown)
{
    const auto area = button.getLocalBounds().toFloat().reduced(1.0F);
    juce::Colour fill = button.getToggleState() ? colours.accent : colours.control;
    if (isDown)
        fill = fill.contrasting(0.16F);
    else if (isHighlighted)
        fill = fill.contrasting(0.07F);
    g.setColour(fill);
    g.fillRoundedRectangle(area, 5.0F);
    g.setColour(button.getToggleState() ? colours.accentLine : colours.outline);
    g.drawRoundedRectangle(area, 5.0F, 1.0F);
}

juce::Slider::SliderLayout Look::getSliderLayout(juce::Slider& slider)
{
    juce::Slider::SliderLayout layout = juce::LookAndFeel_V4::getSliderLayout(slider);
    if (slider.getTextBoxPosition() == juce::Slider::TextBoxRight)
        layout.sliderBounds.setWidth(layout.sliderBounds.getWidth() - 4);
    return layout;
}

void Look::drawLinearSlider(juce::Graphics& g, int x, int y, int width, int height,
                            float sliderPosition, float, float, juce::Slider::SliderStyle,
                            juce::Slider& slider)
{
    const auto area = juce::Rectangle<int>(x, y, width, height).toFloat();
    const float middle = area.getCentreY();
    constexpr float trackHeight = 6.0F;
    const float alpha = slider.isEnabled() ? 1.0F : 0.45F;

    const juce::Rectangle<float> track(area.getX(), middle - trackHeight / 2.0F, area.getWidth(),
                                       trackHeight);
    g.setColour(colours.control.withMultipliedAlpha(alpha));
    g.fillRoundedRectangle(track, trackHeight / 2.0F);
    g.setColour(colours.outline.withMultipliedAlpha(alpha));
    g.drawRoundedRectangle(track, trackHeight / 2.0F, 1.0F);
    if (!slider.isEnabled())
        return;

    g.setColour(colours.accentLine);
    g.fillRoundedRectangle(track.withRight(std::max(track.getX() + 1.0F, sliderPosition)),
                           trackHeight / 2.0F);
    const auto radius = static_cast<float>(getSliderThumbRadius(slider));
    const auto thumb =
        juce::Rectangle<float>(2.0F * radius, 2.0F * radius).withCentre({sliderPosition, middle});
    g.setColour(colours.text);
    g.fillEllipse(thumb);
    g.setColour(colours.panel);
    g.fillEllipse(thumb.reduced(3.0F));
    g.setColour(colours.accentLine);
    g.fillEllipse(thumb.reduced(5.0F));
}

juce::TextLayout Look::tooltipLayout(const juce::String& text) const
{
    constexpr float widestPixels = 420.0F;
    juce::AttributedString attributed;
    attributed.append(text, textFont(14.0F), colours.text);
    juce::TextLayout layout;
    layout.createLayout(attributed, widestPixels);
    return layout;
}

juce::Rectangle<int> Look::getTooltipBounds(const juce::String& text, juce::Point<int> position,
                                            juce::Rectangle<int> parentArea)
{
    const juce::TextLayout layout = tooltipLayout(text);
    const auto width = static_cast<int>(std::ceil(layout.getWidth())) + 20;
    const auto height = static_cast<int>(std::ceil(layout.getHeight())) + 12;
    const bool isRightHalf = position.x > parentArea.getCentreX();
    const bool isLowerHalf = position.y > parentArea.getCentreY();
    return juce::Rectangle<int>(isRightHalf ? position.x - width - 12 : position.x + 20,
                                isLowerHalf ? position.y - height - 8 : position.y + 12, width,
                                height)
        .constrainedWithin(parentArea);
}

void Look::drawTooltip(juce::Graphics& g, const juce::String& text, int width, int height)
{
    const juce::Rectangle<int> area(width, height);
    g.fillAll(colours.panel);
    g.setColour(colours.outline);
    g.drawRect(area, 1);
    tooltipLayout(text).draw(g, area.reduced(10, 6).toFloat());
}

juce::Colour drawPlate(juce::Graphics& g, const Palette& palette, juce::Rectangle<float> area,
                       bool isOn, bool isHighlighted, bool isDown)
{
    juce::Colour fill = isOn ? palette.accent : palette.panel;
    if (isDown || isHighlighted)
        fill = fill.contrasting(isDown ? 0.14F : 0.06F);
    g.setColour(fill);
    g.fillRoundedRectangle(area, 8.0F);
    g.setColour(isOn ? palette.text : palette.outline);
    g.drawRoundedRectangle(area.reduced(isOn ? 1.0F : 0.0F), 8.0F, isOn ? 3.0F : 1.5F);
    return isOn ? palette.onAccent : palette.text;
}

int drawWords(juce::Graphics& g, const juce::String& words, const juce::Font& font,
              juce::Colour colour, juce::Rectangle<int> area, juce::Justification justification)
{
    const auto layoutOf = [&](const juce::String& text) {
        juce::AttributedString attributed;
        attributed.setWordWrap(juce::AttributedString::byWord);
        attributed.setJustification(justification);
        attributed.append(text, font, colour);
        juce::TextLayout layout;
        layout.createLayout(attributed, static_cast<float>(area.getWidth()));
        return layout;
    };
    juce::TextLayout layout = layoutOf(words);
    juce::String kept = words;
    while (layout.getHeight() > static_cast<float>(area.getHeight()) + 1.0F
           && kept.containsChar(' ')) {
        kept = kept.upToLastOccurrenceOf(" ", false, false);
        layout = layoutOf(kept + juce::String::fromUTF8(" \xe2\x80\xa6"));
    }
    layout.draw(g, area.toFloat());
    return static_cast<int>(std::ceil(layout.getHeight()));
}

Palette paletteOf(const juce::Component& component)
{
    const auto* const look = dynamic_cast<const Look*>(&component.getLookAndFeel());
    return look != nullptr ? look->palette() : darkPalette();
}

} // namespace saddletone::gui
