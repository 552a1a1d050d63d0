#pragma once

#include "Gui/BenchModel.h"
#include "Gui/ChoiceBox.h"
#include "Gui/FrequencyPlot.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>

namespace saddletone::gui {

/** The live analyser: bars in third octaves, lines in finer ones, peaks, stored traces; or the line
    of an FFT. */
class AnalyserPanel final : public juce::Component {
public:
    explicit AnalyserPanel(BenchModel& benchModel);

    void show(const BenchSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    [[nodiscard]] FrequencyPlot plot() const;
    void drawLevels(juce::Graphics& g, const FrequencyPlot& axes) const;
    void drawTraces(juce::Graphics& g, const FrequencyPlot& axes) const;
    void applyBands();
    void applyParameters();
    [[nodiscard]] juce::String readingWords() const;

    BenchModel& model;
    measure::AnalyserSnapshot levels;
    std::shared_ptr<const std::vector<measure::AnalyserTrace>> traces;
    bool isOpen = false;
    bool showsSpectrum = false;

    ChoiceBox bandsBox, weightingBox, averagingBox;
    juce::TextButton restartButton {"Restart average"};
    juce::TextButton clearPeaksButton {"Clear peaks"};
    juce::TextButton storeButton {"Store trace"};
    juce::TextButton clearButton {"Clear traces"};
    juce::Rectangle<int> readingArea;
};

} // namespace saddletone::gui
