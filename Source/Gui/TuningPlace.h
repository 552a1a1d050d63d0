#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/CostPanel.h"
#include "Gui/ElementList.h"
#include "Gui/FindingPanel.h"
#include "Gui/FitPanel.h"
#include "Gui/TransportRow.h"
#include "Gui/TuningPlates.h"
#include "Gui/TuningPlot.h"

#include <memory>

namespace saddletone::gui {

/** What stands beside the plot. */
enum class TuningPanel { elements, fit, verdict, cost };

/** The Tuning place: the candidates, the response with its handles, the elements, fits, verdict and
    cost, and the programme that is heard through the edited candidate.

    Keys: 1 to 8 candidate, Ctrl+Z undo, Ctrl+Shift+Z or Ctrl+Y redo, Ctrl+S save. */
class TuningPlace final : public juce::Component {
public:
    TuningPlace(TuningModel& tuningModel, AuditionModel& auditionModel);
    ~TuningPlace() override;
    TuningPlace(const TuningPlace&) = delete;
    TuningPlace& operator=(const TuningPlace&) = delete;

    void show(const AuditionSnapshot& audition);
    void showPanel(TuningPanel panel);
    void selectElement(std::size_t index);
    [[nodiscard]] std::size_t selectedElement() const noexcept { return selected; }
    [[nodiscard]] TuningPlot& plot() noexcept { return plotView; }
    [[nodiscard]] ElementList& list() noexcept { return elementList; }

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;
    bool keyPressed(const juce::KeyPress& key) override;

private:
    /** Takes up the model's state. */
    void refresh();
    void chooseExport();
    [[nodiscard]] juce::String statusWords() const;

    TuningModel& model;
    TuningSnapshot shown;
    std::size_t selected = 0;

    TuningPlates plates;
    juce::Label nameLabel;
    juce::TextEditor nameEditor;
    juce::TextButton newButton {"New candidate"};
    juce::TextButton deleteButton {"Delete"};
    juce::TextButton saveButton {"Save to job"};
    juce::TextButton exportButton {juce::String::fromUTF8("Export settings\xe2\x80\xa6")};
    TuningPlot plotView;
    std::array<juce::TextButton, 4> tabs;
    TuningPanel currentPanel = TuningPanel::elements;
    ElementList elementList;
    FitPanel fitPanel;
    FindingPanel verdictPanel {"Verdict"};
    CostPanel costPanel;
    TransportRow transport;
    juce::Label levelLabel;
    juce::Slider levelSlider;
    juce::SliderParameterAttachment levelAttachment;
    juce::Rectangle<int> statusArea, sidePanel, levelPanel;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
