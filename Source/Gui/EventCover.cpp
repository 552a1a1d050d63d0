#include "Gui/EventCover.h"

#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

EventCover::EventCover()
{
    setFocusContainerType(FocusContainerType::none);
}

void EventCover::setWords(const juce::String& newHeading, const juce::StringArray& newSentences)
{
    if (newHeading == heading && newSentences == sentences)
        return;
    heading = newHeading;
    sentences = newSentences;
    setTitle(heading);
    setDescription(sentences.joinIntoString(" "));
    repaint();
}

juce::Rectangle<int> EventCover::page() const
{
    return getLocalBounds().withSizeKeepingCentre(std::min(1100, getWidth() - 60),
                                                  std::min(760, getHeight() - 40));
}

juce::Rectangle<int> EventCover::controlArea() const
{
    return page().removeFromBottom(controlHeight);
}

void EventCover::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.fillAll(palette.background);
    auto area = page();
    g.setColour(palette.panel);
    g.fillRoundedRectangle(area.expanded(24, 14).toFloat(), 12.0F);
    g.setColour(palette.accentLine);
    g.drawRoundedRectangle(area.expanded(24, 14).toFloat(), 12.0F, 3.0F);
    area.removeFromBottom(controlHeight + 12);
    area.removeFromTop(8);
    const bool isLarge = area.getHeight() > 380;
    const int headingHeight =
        drawWords(g, heading, textFont(isLarge ? 40.0F : 32.0F, juce::Font::bold), palette.text,
                  area, juce::Justification::topLeft);
    area.removeFromTop(headingHeight + 16);
    for (const juce::String& sentence : sentences) {
        const int height = drawWords(g, sentence, textFont(isLarge ? 21.0F : 18.0F), palette.text,
                                     area, juce::Justification::topLeft);
        area.removeFromTop(height + 10);
    }
}

} // namespace saddletone::gui
