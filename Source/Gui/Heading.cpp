#include "Gui/Heading.h"

namespace saddletone::gui {

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

void drawHeading(juce::Graphics& g, const Palette& palette, juce::Rectangle<int> area,
                 const Heading& heading)
{
    if (heading.isInvented) {
        const juce::Font font = textFont(14.0F, juce::Font::bold);
        const juce::String badge = area.getWidth() < 420 ? "INVENTED" : "INVENTED DEMO DATA";
        const int width = font.getStringWidth(badge) + 24;
        const auto box = area.removeFromRight(width + 4).withSizeKeepingCentre(width, 28);
        g.setColour(palette.warning);
        g.fillRoundedRectangle(box.toFloat(), 5.0F);
        g.setColour(palette.onWarning);
        g.setFont(font);
        g.drawText(badge, box, juce::Justification::centred, false);
        area.removeFromRight(12);
    }
    g.setColour(palette.text);
    g.setFont(textFont(21.0F, juce::Font::bold));
    g.drawText(heading.title, area.removeFromTop(28), juce::Justification::centredLeft, true);
    g.setColour(palette.mutedText);
    g.setFont(textFont(14.0F));
    g.drawText(heading.details, area, juce::Justification::centredLeft, true);
}

} // namespace saddletone::gui
