#include "Gui/PlaceStops.h"

#include "Gui/CommandKey.h"
#include "Gui/Look.h"
#include "Gui/RoadScenery.h"

namespace saddletone::gui {

namespace {

constexpr int signWidth = 84;
constexpr int signHeight = 46;
constexpr int signGap = 4;
constexpr int signTop = 7;

juce::String purposeOf(Place place)
{
    switch (place) {
    case Place::signals: return "Test tracks for a USB stick, and live output.";
    case Place::bike: return "Record and measure at the rider's head.";
    case Place::tuning: return "Change the tuning, fit it to a target, and hear it.";
    case Place::listen: break;
    case Place::report: return "What the report holds, and writing it.";
    }
    return "Hear what the bike would sound like.";
}

} // namespace

class PlaceStops::Sign final : public juce::Button {
public:
    explicit Sign(Place signPlace)
        : juce::Button(placeName(signPlace)),
          keyWords(commandKeyName + juce::String(static_cast<int>(signPlace) + 1))
    {
        setTitle(juce::String("Go to ") + placeName(signPlace));
        setDescription(purposeOf(signPlace) + " Key: " + keyWords + ".");
        setTooltip(getDescription());
        setMouseClickGrabsKeyboardFocus(false);
        setHasFocusOutline(true);
    }

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override
    {
        const Palette palette = paletteOf(*this);
        const bool isHere = getToggleState();
        const auto area = getLocalBounds().toFloat().reduced(1.5F);
        juce::Colour fill = isHere ? palette.accent : palette.control;
        if (isDown || isHighlighted)
            fill = fill.contrasting(isDown ? 0.14F : 0.07F);
        g.setColour(fill);
        g.fillRoundedRectangle(area, 5.0F);
        g.setColour(isHere ? palette.text : palette.outline);
        g.drawRoundedRectangle(area, 5.0F, isHere ? 2.5F : 1.5F);

        auto content = getLocalBounds().reduced(4, 4);
        const juce::Colour ink = isHere ? palette.onAccent : palette.text;
        g.setColour(ink);
        g.setFont(textFont(16.0F, juce::Font::bold));
        g.drawText(getName(), content.removeFromTop(20), juce::Justification::centred, false);
        g.setColour(isHere ? palette.onAccent : palette.mutedText);
        g.setFont(textFont(14.0F));
        g.drawText(isHere ? "here" : keyWords, content, juce::Justification::centred, false);
    }

private:
    juce::String keyWords;
};

PlaceStops::PlaceStops()
{
    setTitle("Places");
    for (std::size_t index = 0; index < signs.size(); ++index) {
        const Place place = allPlaces[index];
        signs[index] = std::make_unique<Sign>(place);
        signs[index]->onClick = [this, place] {
            if (onPick)
                onPick(place);
        };
        addAndMakeVisible(*signs[index]);
    }
    show(Place::listen, {});
}

PlaceStops::~PlaceStops() = default;

void PlaceStops::setHasPlace(Place place, bool hasPlace)
{
    signs[static_cast<std::size_t>(place)]->setVisible(hasPlace);
    resized();
    repaint();
}

void PlaceStops::show(Place place, const juce::String& newWords)
{
    if (current != place || words != newWords)
        repaint();
    current = place;
    words = newWords;
    for (std::size_t index = 0; index < signs.size(); ++index)
        signs[index]->setToggleState(allPlaces[index] == current, juce::dontSendNotification);
}

juce::Rectangle<float> PlaceStops::roadArea() const
{
    // On Listen the band meets that of the road beside it.
    const auto area = getLocalBounds().toFloat();
    if (current == Place::listen)
        return area.withTrimmedBottom(roadLabelsHeight)
            .removeFromBottom(34.0F)
            .withTrimmedLeft(12.0F);
    return area.withTrimmedBottom(6.0F).removeFromBottom(34.0F).reduced(12.0F, 0.0F);
}

void PlaceStops::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    const bool listens = current == Place::listen;
    const auto panel = getLocalBounds().toFloat();
    const auto road = roadArea();
    g.setColour(palette.panel);
    // Listen's road goes on to the right, so that edge is straight.
    g.fillRoundedRectangle(listens ? panel.withWidth(panel.getWidth() + 10.0F) : panel, 8.0F);

    g.setColour(palette.outline);
    for (const auto& sign : signs)
        for (const int side : {-22, 22}) {
            if (!sign->isVisible())
                continue;
            g.fillRect(juce::Rectangle<float>(
                static_cast<float>(sign->getBounds().getCentreX() + side) - 1.5F,
                static_cast<float>(sign->getBottom()) - 1.0F, 3.0F,
                road.getY() - static_cast<float>(sign->getBottom()) + 1.0F));
        }
    drawRoadBand(g, palette, road);
    if (listens)
        return;

    drawGantry(g, palette, {road.getRight() - 58.0F, road.getY()});
    const auto& sign = signs[static_cast<std::size_t>(current)];
    drawMotorcyclist(g, palette,
                     {static_cast<float>(sign->getBounds().getCentreX()), road.getCentreY() + 6.0F},
                     0.62F);
    g.setColour(palette.text);
    g.setFont(textFont(15.0F));
    g.drawText(words,
               getLocalBounds()
                   .withTrimmedLeft(streetWidth + 12)
                   .withTrimmedRight(90)
                   .withHeight(signTop + signHeight),
               juce::Justification::centredLeft, true);
}

void PlaceStops::resized()
{
    auto row = getLocalBounds().withTrimmedTop(signTop).withHeight(signHeight).withTrimmedLeft(12);
    for (const auto& sign : signs) {
        if (!sign->isVisible())
            continue;
        sign->setBounds(row.removeFromLeft(signWidth));
        row.removeFromLeft(signGap);
    }
}

} // namespace saddletone::gui
