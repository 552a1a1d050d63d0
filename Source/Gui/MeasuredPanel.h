#pragma once

#include "Gui/BenchModel.h"
#include "Gui/FrequencyPlot.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** The takes of the session, and the curves they were turned into. */
class MeasuredPanel final : public juce::Component, private juce::ListBoxModel {
public:
    explicit MeasuredPanel(BenchModel& benchModel);
    ~MeasuredPanel() override;

    void show(const BenchSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    int getNumRows() override;
    void paintListBoxItem(int row, juce::Graphics& g, int width, int height,
                          bool isSelected) override;
    juce::String getNameForRow(int row) override;
    juce::String getTooltipForRow(int row) override;
    void listBoxItemClicked(int row, const juce::MouseEvent& event) override;
    void returnKeyPressed(int row) override;

    void toggleUse(int row);
    void addToJob();
    void drawCurves(juce::Graphics& g, const FrequencyPlot& axes) const;
    [[nodiscard]] const MeasuredView* shownState() const;

    BenchModel& model;
    std::vector<TakeView> takes;
    std::vector<std::shared_ptr<const MeasuredView>> measured;
    std::size_t shownIndex = 0;
    std::shared_ptr<const ComparisonView> comparison;

    juce::ComboBox stateBox;
    juce::TextButton addButton {juce::String::fromUTF8("Add to job\xe2\x80\xa6")};
    juce::ListBox list {"Takes", this};
    juce::Rectangle<int> plotArea, wordsArea, headingArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
