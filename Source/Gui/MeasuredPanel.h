#pragma once

#include "Gui/BenchModel.h"
#include "Gui/ChoiceBox.h"
#include "Gui/MeasuredPlots.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** The takes made since the start, and every measured state's curve, distortion and confidence. */
class MeasuredPanel final : public juce::Component, private juce::ListBoxModel {
public:
    explicit MeasuredPanel(BenchModel& benchModel);
    ~MeasuredPanel() override;
    MeasuredPanel(const MeasuredPanel&) = delete;
    MeasuredPanel& operator=(const MeasuredPanel&) = delete;

    void show(const BenchSnapshot& snapshot);
    void showAspect(MeasuredAspect newAspect);

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
    void chooseImport();
    void importFile(ImportKind kind);
    void applyDisplay();
    void showDisplay(const CurveDisplay& display);
    void drawHeading(juce::Graphics& g, const Palette& palette) const;
    void drawStateWords(juce::Graphics& g, const Palette& palette) const;
    [[nodiscard]] juce::String verdictWords(const MeasuredView& view) const;
    [[nodiscard]] juce::String aspectWords(const MeasuredView& view) const;
    [[nodiscard]] const MeasuredView* shownState() const;
    [[nodiscard]] int wordsHeight() const;

    BenchModel& model;
    std::vector<TakeView> takes;
    std::vector<std::shared_ptr<const MeasuredView>> measured;
    std::size_t shownIndex = 0;
    std::shared_ptr<const ComparisonView> comparison;
    std::shared_ptr<const SpeakersView> speakers;
    MeasuredAspect aspect = MeasuredAspect::curve;

    ChoiceBox stateBox;
    juce::TextButton importButton {juce::String::fromUTF8("Import\xe2\x80\xa6")};
    juce::TextButton addButton {juce::String::fromUTF8("Add to job\xe2\x80\xa6")};
    juce::TextButton curveButton {"Curve"};
    juce::TextButton distortionButton {"Distortion"};
    juce::TextButton confidenceButton {"Confidence"};
    ChoiceBox smoothingBox, windowBox;
    juce::ListBox list {"Takes", this};
    juce::Rectangle<int> plotArea, wordsArea, headingArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
