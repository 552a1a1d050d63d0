#include "Gui/RoadControl.h"

#include "Core/Dsp/Units.h"
#include "Gui/LevelWords.h"
#include "Gui/Look.h"
#include "Gui/ParameterIds.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr float sideMargin = 70.0F;
constexpr float bandHeight = 34.0F;
constexpr float labelsHeight = 44.0F;

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

juce::Rectangle<float> RoadControl::roadArea() const
{
    return getLocalBounds()
        .toFloat()
        .withTrimmedBottom(labelsHeight)
        .removeFromBottom(bandHeight)
        .reduced(12.0F, 0.0F);
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

    // The highway: the road parts into lanes at its far end.
    const juce::Rectangle<float> gantry(positionOf(endMph) + 16.0F, road.getY() - 44.0F, 38.0F,
                                        20.0F);
    g.setColour(palette.outline);
    g.fillRect(gantry.getX() + 4.0F, gantry.getBottom(), 3.0F, road.getY() - gantry.getBottom());
    g.fillRect(gantry.getRight() - 7.0F, gantry.getBottom(), 3.0F,
               road.getY() - gantry.getBottom());
    g.setColour(palette.control);
    g.fillRoundedRectangle(gantry, 3.0F);
    g.setColour(palette.outline);
    g.drawRoundedRectangle(gantry, 3.0F, 1.5F);
    juce::Path arrow;
    arrow.addArrow({gantry.getCentreX() - 10.0F, gantry.getCentreY(), gantry.getCentreX() + 11.0F,
                    gantry.getCentreY()},
                   3.0F, 11.0F, 9.0F);
    g.setColour(palette.text);
    g.fillPath(arrow);
}

void RoadControl::drawRider(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    const auto road = roadArea();
    const float x = positionOf(dsp::kmhToMph(speed));
    const float ground = road.getCentreY() - 3.0F;

    // Side view, heading for the highway; coordinates from the point between the wheels.
    const auto at = [&](float right, float up) {
        return juce::Point<float>(x + right, ground - up);
    };
    juce::Path machine;
    for (const float wheel : {-17.0F, 17.0F})
        machine.addEllipse(juce::Rectangle<float>(15.0F, 15.0F).withCentre(at(wheel, 7.5F)));
    machine.startNewSubPath(at(-17.0F, 7.5F));
    machine.lineTo(at(-8.0F, 17.0F));
    machine.lineTo(at(9.0F, 18.0F));
    machine.lineTo(at(17.0F, 7.5F));
    machine.startNewSubPath(at(9.0F, 18.0F));
    machine.lineTo(at(7.0F, 28.0F));
    machine.startNewSubPath(at(-8.0F, 17.0F));
    machine.lineTo(at(2.0F, 8.0F));
    machine.lineTo(at(9.0F, 18.0F));
    juce::Path rider;
    rider.startNewSubPath(at(3.0F, 10.0F));
    rider.lineTo(at(4.0F, 17.0F));
    rider.lineTo(at(-6.0F, 20.0F));
    rider.lineTo(at(-3.0F, 35.0F));
    rider.lineTo(at(7.0F, 27.0F));
    const auto head = juce::Rectangle<float>(14.0F, 14.0F).withCentre(at(-1.0F, 43.0F));

    const juce::PathStrokeType halo(8.0F, juce::PathStrokeType::curved,
                                    juce::PathStrokeType::rounded);
    const juce::PathStrokeType line(3.5F, juce::PathStrokeType::curved,
                                    juce::PathStrokeType::rounded);
    g.setColour(palette.panel);
    g.strokePath(machine, halo);
    g.strokePath(rider, halo);
    g.fillEllipse(head.expanded(2.5F));
    g.setColour(palette.text);
    g.strokePath(machine, line);
    g.setColour(palette.accentLine);
    g.strokePath(rider, line);
    g.fillEllipse(head);

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
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);

    g.setColour(palette.text);
    g.setFont(textFont(17.0F, juce::Font::bold));
    const auto textLeft = static_cast<int>(sideMargin) + 18;
    g.drawText("Listen", textLeft, 7, 72, 24, juce::Justification::centredLeft, false);
    g.setColour(palette.mutedText);
    g.setFont(textFont(14.0F));
    g.drawText("Drag the rider from the shop door to the highway, or use the arrow keys.",
               textLeft + 72, 7, getWidth() - textLeft - 84, 24, juce::Justification::centredLeft,
               true);

    const auto road = roadArea();
    g.setColour(palette.road);
    g.fillRect(road);
    g.setColour(palette.roadMark);
    const std::array<float, 2> dashes {18.0F, 14.0F};
    g.drawDashedLine(
        {road.getX(), road.getCentreY() + 6.0F, road.getRight(), road.getCentreY() + 6.0F},
        dashes.data(), static_cast<int>(dashes.size()), 2.0F);
    drawScenery(g);

    for (int mph = 0; mph <= static_cast<int>(endMph); mph += 10) {
        const float x = positionOf(mph);
        g.setColour(palette.outline);
        g.fillRect(x - 1.0F, road.getBottom(), 2.0F, 5.0F);
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
