#pragma once

#include "Gui/BenchModel.h"
#include "Gui/Look.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <memory>
#include <span>

namespace saddletone::gui {

/** What of a measured state is drawn. */
enum class MeasuredAspect { curve, distortion, confidence };

/** The most curves that are drawn beside the chosen one: dashes of more cannot be told apart. */
inline constexpr std::size_t mostOtherCurves = 7;

// All of these draw axes and their labels into area.

/** Curves re their level from 500 Hz to 2 kHz: the shown one thick, broken where its window can tell
    nothing; the others dashed by their numbers; the noise as a thin line; hatched where the shown
    one cannot be trusted. view: null draws the axes alone. */
void drawMeasuredCurves(juce::Graphics& g, juce::Rectangle<int> area, const Palette& palette,
                        std::span<const std::shared_ptr<const MeasuredView>> measured,
                        std::size_t shownIndex);

/** Harmonics re the fundamental over its frequency; a line is numbered by its order, and thin and
    broken where it is no more than noise. */
void drawDistortion(juce::Graphics& g, juce::Rectangle<int> area, const Palette& palette,
                    const MeasuredView& view);

/** Two rows of bars a third octave: signal over noise, and the 95 % interval with the spread of the
    takes inside it. */
void drawConfidence(juce::Graphics& g, juce::Rectangle<int> area, const Palette& palette,
                    const MeasuredView& view);

} // namespace saddletone::gui
