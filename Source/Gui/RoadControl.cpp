#include "Gui/RoadControl.h"

#include "Core/Dsp/Units.h"
#include "Gui/Look.h"
#include "Gui/ParameterIds.h"
#include "Gui/RoadScenery.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr float sideMargin = 70.0F;
constexpr float bandHeight = 34.0F;
constexpr float widestLabel = 76.0F;

/** Of the arrow keys up and down, and between the speeds that are written below the road. */
struct SpeedSteps {
    int large = 5;
    int label = 10;
};

juce::Font signFont()
{
    return textFont(19.0F, juce::Font::bold);
}

constexpr SpeedSteps stepsOf(SpeedUnit unit) noexcept
{
    return unit == SpeedUnit::mph ? SpeedSteps {5, 10} : SpeedSteps {10, 20};
}

class SpeedValue final : public juce::AccessibilityValueInterface {
public:
    explicit SpeedValue(RoadControl& roadControl) : road(roadControl) {}

    bool isReadOnly() const override { return false; }
    double getCurrentValue() const override { return speedIn(road.speedUnit(), road.speedKmh()); }
    void setValue(double newSpeed) override
    {
        road.setSpeedKmh(speedKmhFrom(road.speedUnit(), newSpeed));
    }
    AccessibleValueRange getRange() const override
    {
        return {{0.0, speedIn(road.speedUnit(), dsp::mphToKmh(RoadControl::endMph))}, 1.0};
    }
    juce::String getCurrentValueAsString() const override
    {
        return speedWords(road.speedKmh(), road.speedUnit());
    }
    void setValueAsString(const juce::String& typed) override
    {
        if (const auto newSpeedKmh = parseSpeedKmh(typed, road.speedUnit()))
            road.setSpeedKmh(*newSpeedKmh);
    }

private:
    RoadControl& road;
};

} // namespace

RoadControl::RoadControl(juce::AudioProcessorValueTreeState& parameters)
    : attachment(*parameters.getParameter(parameterIds::speedKmh), [this](float newSpeedKmh) {
          repaint(riderArea());
          speed = static_cast<double>(newSpeedKmh);
          repaint(riderArea());
          if (auto* const handler = getAccessibilityHandler())
              handler->notifyAccessibilityEvent(juce::AccessibilityEvent::valueChanged);
      })
{
    setTitle("Speed");
    unitButton.onClick = [this] {
        if (onUnit)
            onUnit(unit == SpeedUnit::mph ? SpeedUnit::kmh : SpeedUnit::mph);
    };
    addControl(*this, unitButton, "Unit of speeds", "Shows every speed in the other unit.");
    describe();
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

void RoadControl::show(SpeedUnit newUnit)
{
    if (unit == newUnit)
        return;
    unit = newUnit;
    describe();
    repaint();
}

void RoadControl::describe()
{
    setDescription("The road from the shop door to the highway. Left and right arrow keys change "
                   "the speed by 1 "
                   + unitName(unit) + ", up and down by " + juce::String(stepsOf(unit).large)
                   + ".");
    unitButton.setButtonText("Show "
                             + unitName(unit == SpeedUnit::mph ? SpeedUnit::kmh : SpeedUnit::mph));
    unitButton.setTitle(unitButton.getButtonText());
}

bool RoadControl::driveBy(const juce::KeyPress& key)
{
    const int large = stepsOf(unit).large;
    int step = 0;
    if (key.isKeyCode(juce::KeyPress::rightKey))
        step = 1;
    else if (key.isKeyCode(juce::KeyPress::leftKey))
        step = -1;
    else if (key.isKeyCode(juce::KeyPress::upKey))
        step = large;
    else if (key.isKeyCode(juce::KeyPress::downKey))
        step = -large;
    else
        return false;
    setSpeedKmh(speed + speedKmhFrom(unit, step));
    return true;
}

void RoadControl::resized()
{
    unitButton.setBounds(getLocalBounds().removeFromTop(36).removeFromRight(120).reduced(10, 4));
}

juce::Rectangle<float> RoadControl::roadArea() const
{
    return getLocalBounds()
        .toFloat()
        .withTrimmedBottom(roadLabelsHeight)
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

juce::Rectangle<float> RoadControl::signArea() const
{
    const auto road = roadArea();
    const float x = positionOf(dsp::kmhToMph(speed));
    // The speed stands behind the rider where there is room, else in front.
    const float width = signFont().getStringWidthFloat(speedWords(speed, unit)) + 24.0F;
    const bool isBehind = x - 40.0F - width > sideMargin + 10.0F;
    return {isBehind ? x - 40.0F - width : x + 40.0F, road.getY() - 37.0F, width, 28.0F};
}

juce::Rectangle<int> RoadControl::riderArea() const
{
    // The motorcycle is about 50 pixels high and 80 wide, with its edges.
    const auto road = roadArea();
    const auto motorcycle = juce::Rectangle<float>(88.0F, 76.0F)
                                .withCentre({positionOf(dsp::kmhToMph(speed)), 0.0F})
                                .withBottomY(road.getBottom());
    return motorcycle.getUnion(signArea()).getSmallestIntegerContainer().expanded(2);
}

void RoadControl::drawRider(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    const auto road = roadArea();
    const float x = positionOf(dsp::kmhToMph(speed));
    drawMotorcyclist(g, palette, {x, road.getCentreY() - 3.0F}, 1.0F);

    const auto sign = signArea();
    g.setColour(palette.accent);
    g.fillRoundedRectangle(sign, 5.0F);
    g.setColour(palette.onAccent);
    g.setFont(signFont());
    g.drawText(speedWords(speed, unit), sign, juce::Justification::centred, false);
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
    g.drawText("Drag the rider, or use the arrow keys.", textLeft, 7,
               unitButton.getX() - textLeft - 8, 24, juce::Justification::centredLeft, true);

    const auto road = roadArea();
    drawRoadBand(g, palette, road);
    drawScenery(g);

    const SpeedSteps steps = stepsOf(unit);
    const auto xOf = [&](double labelled) {
        return positionOf(dsp::kmhToMph(speedKmhFrom(unit, labelled)));
    };
    const bool isCrowded = xOf(steps.label) - xOf(0.0) < widestLabel;
    const double endSpeed = speedIn(unit, dsp::mphToKmh(endMph));
    for (int labelled = 0; labelled <= static_cast<int>(endSpeed); labelled += steps.label) {
        const float x = xOf(labelled);
        g.setColour(palette.outline);
        g.fillRect(x - 1.0F, road.getBottom(), 2.0F, 5.0F);
        if (isCrowded && labelled % (3 * steps.label) != 0)
            continue;
        g.setColour(palette.text);
        g.setFont(textFont(14.0F, juce::Font::bold));
        g.drawText(labelled == 0 ? juce::String("Parked")
                                 : juce::String(labelled) + " " + unitName(unit),
                   juce::Rectangle<float>(x - 42.0F, road.getBottom() + 5.0F, 84.0F, 19.0F),
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
