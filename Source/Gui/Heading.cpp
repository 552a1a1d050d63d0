#include "Gui/Heading.h"

#include "Gui/Look.h"

namespace saddletone::gui {

namespace {

constexpr const char* longBadge = "INVENTED DEMO DATA";
constexpr const char* shortBadge = "INVENTED";
constexpr int titleHeight = 28;
constexpr int badgeHeight = 28;
constexpr int badgeGap = 12;
/** Below it the long badge would leave too little for any title. */
constexpr int widthForLongBadge = 420;

juce::Font badgeFont()
{
    return textFont(14.0F, juce::Font::bold);
}

int badgeWidth(const juce::String& badge)
{
    return badgeFont().getStringWidth(badge) + 24;
}

bool fitsOnTwoLines(const juce::String& words, const juce::Font& font, int width)
{
    juce::AttributedString attributed;
    attributed.setWordWrap(juce::AttributedString::byWord);
    attributed.append(words, font);
    juce::TextLayout layout;
    layout.createLayout(attributed, static_cast<float>(width));
    return layout.getNumLines() <= 2;
}

void drawBadge(juce::Graphics& g, const Palette& palette, juce::Rectangle<int> box,
               const juce::String& badge)
{
    g.setColour(palette.warning);
    g.fillRoundedRectangle(box.toFloat(), 5.0F);
    g.setColour(palette.onWarning);
    g.setFont(badgeFont());
    g.drawText(badge, box, juce::Justification::centred, false);
}

} // namespace

Heading headingOf(const JobView* heard, const OpenJobView* open)
{
    if (heard == nullptr && open == nullptr)
        return {"Saddletone", "Hear a tuning before the bike is changed."};
    Heading heading;
    heading.title = open != nullptr ? open->fields.title : heard->title;
    heading.isInvented =
        (open != nullptr && open->invented) || (heard != nullptr && heard->invented);
    juce::StringArray details {open != nullptr ? open->fields.bike : heard->bike,
                               open != nullptr ? open->fields.shop : heard->shop};
    details.removeEmptyStrings();
    heading.details = details.joinIntoString(juce::String::fromUTF8(" \xc2\xb7 "));
    return heading;
}

HeadingView::HeadingView()
{
    setWantsKeyboardFocus(false);
}

void HeadingView::show(const Heading& newHeading)
{
    if (heading == newHeading)
        return;
    heading = newHeading;
    setTitle(heading.title);
    setDescription(heading.details);
    setTooltip(heading.details.isEmpty() ? heading.title : heading.title + "\n" + heading.details);
    repaint();
}

int HeadingView::widthBesides(const juce::String& badge) const
{
    return badge.isEmpty() ? getWidth() : getWidth() - badgeWidth(badge) - badgeGap - 4;
}

HeadingView::Fit HeadingView::fit() const
{
    const juce::Font large = textFont(21.0F, juce::Font::bold);
    const juce::Font small = textFont(17.0F, juce::Font::bold);
    const juce::String full = !heading.isInvented              ? ""
                              : getWidth() < widthForLongBadge ? shortBadge
                                                               : longBadge;
    const juce::String brief = heading.isInvented ? shortBadge : "";
    for (const Fit& each : {Fit {full, large}, Fit {brief, large}, Fit {brief, small}})
        if (each.font.getStringWidth(heading.title) <= widthBesides(each.badge))
            return each;
    if (fitsOnTwoLines(heading.title, small, widthBesides(brief)))
        return {brief, small, true};
    return {brief, textFont(15.0F, juce::Font::bold), true};
}

void HeadingView::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    const Fit fitting = fit();
    auto area = getLocalBounds();
    if (fitting.badge.isNotEmpty()) {
        const int width = badgeWidth(fitting.badge);
        drawBadge(g, palette,
                  area.removeFromRight(width + 4).withSizeKeepingCentre(width, badgeHeight),
                  fitting.badge);
        area.removeFromRight(badgeGap);
    }
    if (fitting.takesBothLines) {
        drawWords(g, heading.title, fitting.font, palette.text, area,
                  juce::Justification::centredLeft);
        return;
    }
    g.setColour(palette.text);
    g.setFont(fitting.font);
    g.drawText(heading.title, area.removeFromTop(titleHeight), juce::Justification::centredLeft,
               true);
    g.setColour(palette.mutedText);
    g.setFont(textFont(14.0F));
    g.drawText(heading.details, area, juce::Justification::centredLeft, true);
}

} // namespace saddletone::gui
