#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <vector>

namespace saddletone::gui {

/** Where levels over frequency stand on the screen, 20 Hz to 20 kHz, and their grid. */
struct FrequencyPlot {
    juce::Rectangle<float> area;
    double lowestDb = -100.0;
    double highestDb = 0.0;
    int lineStepDb = 10;
    int labelStepDb = 20;          ///< Doubled where labels would touch.
    bool labelsFrequencies = true; ///< False for a plot that stands on another.

    static constexpr double lowestHz = 20.0;
    static constexpr double highestHz = 20000.0;

    [[nodiscard]] float xOf(double frequencyHz) const;
    /** Kept near the plot: a path with far-away points is slow to draw. */
    [[nodiscard]] float yOf(double levelDb) const;
    [[nodiscard]] juce::Path curve(const std::vector<double>& frequenciesHz,
                                   const std::vector<double>& levelsDb, double offsetDb) const;
    /** A line through a spectrum of one level a bin from 0 Hz on. Where several bins share a column
        of pixels the highest is drawn, so that no tone is lost. */
    [[nodiscard]] juce::Path spectrum(const std::vector<double>& levelsDb, double binHz) const;
    /** Lines and their labels, which stand outside the area. */
    void drawGrid(juce::Graphics& g, juce::Colour line, juce::Colour label) const;
};

} // namespace saddletone::gui
