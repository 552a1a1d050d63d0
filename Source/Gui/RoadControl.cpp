#include "Gui/RoadControl.h"

#include "Core/Dsp/Units.h"
#include "Gui/LevelWords.h"
#include "Gui/Look.h"
#include "Gui/ParameterIds.h"
#include "Gui/RoadScenery.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr float sideMargin = 70.0F;
constexpr float bandHeight = 34.0F;
constexpr float labelsHeight = 44.0F;
constexpr float widestLabel = 76.0F;

class SpeedValue final : public juce::AccessibilityValueInterface {
public:
    explicit SpeedValue(RoadControl& roadControl) : road(roadControl) {}

    bool isReadOnly() const override { return false; }
    double getCurrentValue() const override { return dsp::kmhToMph(road.speedKmh()); }
    void setValue(double newValueMph) override { road.setSpeedKmh(dsp::mphToKmh(newValueMph)); }
    AccessibleValueRange getRange() const override { return {{0.0, RoadControl::endMph}, 1.0}; }
    juce::String getCurrentValueAsString() const override { return speedWords(road.speedKmh()); }
    void setValueAsString(const juce::String& newValueMph) override
    {
        setValue(newValueMph.getDoubleValue());
    }

private:
    RoadControl& road;
};

} // namespace

RoadControl::RoadControl(juce::AudioProcessorValueTreeState& parameters)
    : attachment(*parameters.getParameter(parameterIds::speedKmh), [this](float newSpeedKmh) {
          speed = static_cast<double>(newSpeedKmh);
          repaint();
          if (auto* const handler = getAccessibilityHandler())
              handler->notifyAccessibilityEvent(juce::AccessibilityEvent::valueChanged);
      })
{
    setTitle("Speed");
    setDescription("The road from the shop door to the highway. Left and right arrow keys change "
                   "the speed by 1 mph, up and down by 5.");
    setWantsKeyboardFocus(true);
    setMouseClickGrabsKeyboardFocus(false);
    setHasFocusOutline(true);
    setMouseCursor(juce::MouseCursor::LeftRightResizeCursor);
    attachment.sendInitialUpdate();
}

void RoadControl::setSpeedKmh(double newSpeedKmh)
{
    attachment.setValueAsCompleteGesture(
        static_cast<float>(std::clamp(newSpeedKmh, 0.0, dsp::mphToKmh(endMph))));
}

bool RoadControl::driveBy(const juce::KeyPress& key)
{
    double stepMph = 0.0;
    if (key.isKeyCode(juce::KeyPress::rightKey))
        stepMph = 1.0;
    else if (key.isKeyCode(juce::KeyPress::leftKey))
        stepMph = -1.0;
    else if (key.isKeyCode(juce::KeyPress::upKey))
        stepMph = 5.0;
    else if (key.isKeyCode(juce::KeyPress::downKey))
        stepMph = -5.0;
    else
        return false;
    setSpeedKmh(speed + dsp::mphToKmh(stepMph));
    return true;
}

juce::Rectangle<float> RoadControl::roadArea() const
{
    return getLocalBounds()
        .toFloat()
        .withTrimmedBottom(labelsHeight)
        .removeFromBottom(bandHeight)
        .withTrimmedLeft(joinsStops ? 0.0F : 12.0F)
        .withTrimmedRight(12.0F);
}

float RoadControl::positionOf(double speedMph) const
{
    const float length = static_cast<float>(getWidth()) - 2.0F * sideMargin;
    return sideMargin + length * static_cast<float>(std::clamp(speedMph / endMph, 0.0, 1.0));
}

double RoadControl::speedKmhAt(float x) const
{
    const float length = static_cast<float>(getWidth()) - 2.0F * sideMargin;
    const double proportion = static_cast<double>((x - sideMargin) / std::max(1.0F, length));
    return dsp::mphToKmh(endMph * std::clamp(proportion, 0.0, 1.0));
}

void RoadControl::mouseDown(const juce::MouseEvent& event)
{
    attachment.beginGesture();
    mouseDrag(event);
}

void RoadControl::mouseDrag(const juce::MouseEvent& event)
{
    attachment.setValueAsPartOfGesture(static_cast<float>(speedKmhAt(event.position.x)));
}

void RoadControl::mouseUp(const juce::MouseEvent&)
{
    attachment.endGesture();
}

void RoadControl::drawScenery(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    const auto road = roadArea();

    // The shop, its door at the parked end.
    const float doorX = positionOf(0.0);
    const juce::Rectangle<float> shop(road.getX() + 4.0F, road.getY() - 34.0F,
                                      doorX - road.getX() - 26.0F, 34.0F);
    juce::Path roof;
    roof.addTriangle(shop.getX() - 4.0F, shop.getY(), shop.getRight() + 4.0F, shop.getY(),
                     shop.getCentreX(), shop.getY() - 14.0F);
    g.setColour(palette.control);
    g.fillRect(shop);
    g.fillPath(roof);
    g.setColour(palette.outline);
    g.drawRect(shop, 1.5F);
    g.strokePath(roof, juce::PathStrokeType(1.5F));
    g.setColour(palette.accentLine);
    g.fillRect(shop.withWidth(11.0F).withX(shop.getRight() - 15.0F).withTrimmedTop(12.0F));

    drawGantry(g, palette, {positionOf(endMph) + 16.0F, road.getY()});
}

void RoadControl::drawRider(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    const auto road = roadArea();
    const float x = positionOf(dsp::kmhToMph(speed));
    drawMotorcyclist(g, palette, {x, road.getCentreY() - 3.0F}, 1.0F);

    // The speed stands behind the rider where there is room, else in front.
    const juce::Font font = textFont(19.0F, juce::Font::bold);
    const juce::String words = speedWords(speed);
    const float width = font.getStringWidthFloat(words) + 24.0F;
    const bool isBehind = x - 40.0F - width > sideMargin + 10.0F;
    const juce::Rectangle<float> sign(isBehind ? x - 40.0F - width : x + 40.0F, road.getY() - 37.0F,
                                      width, 28.0F);
    g.setColour(palette.accent);
    g.fillRoundedRectangle(sign, 5.0F);
    g.setColour(palette.onAccent);
    g.setFont(font);
    g.drawText(words, sign, juce::Justification::centred, false);
}

void RoadControl::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    auto panel = getLocalBounds().toFloat();
    if (joinsStops)
        panel = panel.withLeft(panel.getX() - 10.0F); // its rounded corners are clipped
    g.fillRoundedRectangle(panel, 8.0F);

    auto textLeft = static_cast<int>(sideMargin) + 18;
    if (!joinsStops) {
        g.setColour(palette.text);
        g.setFont(textFont(17.0F, juce::Font::bold));
        g.drawText("Listen", textLeft, 7, 72, 24, juce::Justification::centredLeft, false);
        textLeft += 72;
    }
    g.setColour(palette.mutedText);
    g.setFont(textFont(14.0F));
    g.drawText("Drag the rider from the shop door to the highway, or use the arrow keys.", textLeft,
               7, getWidth() - textLeft - 12, 24, juce::Justification::centredLeft, true);

    const auto road = roadArea();
    drawRoadBand(g, palette, road);
    drawScenery(g);

    for (int mph = 0; mph <= static_cast<int>(endMph); mph += 10) {
        const float x = positionOf(mph);
        g.setColour(palette.outline);
        g.fillRect(x - 1.0F, road.getBottom(), 2.0F, 5.0F);
        if (positionOf(10.0) - positionOf(0.0) < widestLabel && mph % 30 != 0)
            continue;
        const auto kmh = static_cast<int>(std::lround(dsp::mphToKmh(mph)));
        juce::Rectangle<float> label(x - 42.0F, road.getBottom() + 5.0F, 84.0F, 38.0F);
        g.setColour(palette.text);
        g.setFont(textFont(14.0F, juce::Font::bold));
        g.drawText(mph == 0 ? juce::String("Parked") : juce::String(mph) + " mph",
                   label.removeFromTop(19.0F), juce::Justification::centred, false);
        g.setColour(palette.mutedText);
        g.setFont(textFont(14.0F));
        g.drawText(juce::String(kmh) + " km/h", label.removeFromTop(18.0F),
                   juce::Justification::centred, false);
    }
    drawRider(g);
}

std::unique_ptr<juce::AccessibilityHandler> RoadControl::createAccessibilityHandler()
{
    return std::make_unique<juce::AccessibilityHandler>(
        *this, juce::AccessibilityRole::slider, juce::AccessibilityActions {},
        juce::AccessibilityHandler::Interfaces {std::make_unique<SpeedValue>(*this)});
}

} // namespace saddletone::gui
