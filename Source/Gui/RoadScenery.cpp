#include "Gui/RoadScenery.h"

#include <array>

namespace saddletone::gui {

void drawRoadBand(juce::Graphics& g, const Palette& palette, juce::Rectangle<float> road)
{
    g.setColour(palette.road);
    g.fillRect(road);
    g.setColour(palette.roadMark);
    const std::array<float, 2> dashes {18.0F, 14.0F};
    g.drawDashedLine(
        {road.getX(), road.getCentreY() + 6.0F, road.getRight(), road.getCentreY() + 6.0F},
        dashes.data(), static_cast<int>(dashes.size()), 2.0F);
}

void drawGantry(juce::Graphics& g, const Palette& palette, juce::Point<float> foot)
{
    const juce::Rectangle<float> gantry(foot.x, foot.y - 44.0F, 38.0F, 20.0F);
    g.setColour(palette.outline);
    g.fillRect(gantry.getX() + 4.0F, gantry.getBottom(), 3.0F, foot.y - gantry.getBottom());
    g.fillRect(gantry.getRight() - 7.0F, gantry.getBottom(), 3.0F, foot.y - gantry.getBottom());
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

void drawMotorcyclist(juce::Graphics& g, const Palette& palette, juce::Point<float> ground,
                      float scale)
{
    const auto at = [](float right, float up) { return juce::Point<float>(right, -up); };
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
    const juce::Graphics::ScopedSaveState saved(g);
    g.addTransform(juce::AffineTransform::scale(scale).translated(ground));
    g.setColour(palette.panel);
    g.strokePath(machine, halo);
    g.strokePath(rider, halo);
    g.fillEllipse(head.expanded(2.5F));
    g.setColour(palette.text);
    g.strokePath(machine, line);
    g.setColour(palette.accentLine);
    g.strokePath(rider, line);
    g.fillEllipse(head);
}

} // namespace saddletone::gui
