#pragma once

#include "Gui/Look.h"

namespace saddletone::gui {

/** Of the speeds below the road, which the street beside it leaves free as well. */
inline constexpr float roadLabelsHeight = 26.0F;

/** Asphalt with a dashed line. */
void drawRoadBand(juce::Graphics& g, const Palette& palette, juce::Rectangle<float> road);

/** The sign over the highway; foot: where its left edge meets the upper edge of the road. */
void drawGantry(juce::Graphics& g, const Palette& palette, juce::Point<float> foot);

/** A rider in side view, heading right; ground: the point between the wheels. At scale 1 it is
    about 50 pixels high. */
void drawMotorcyclist(juce::Graphics& g, const Palette& palette, juce::Point<float> ground,
                      float scale);

} // namespace saddletone::gui
