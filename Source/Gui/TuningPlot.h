#pragma once

#include "Gui/FrequencyPlot.h"
#include "Gui/TuningModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>
#include <vector>

namespace saddletone::gui {

/** Measured curve, target and prediction over frequency, with a numbered handle for each element
    that has a place there.

    Handles are dragged (frequency and gain; with Alt, or by the wheel, Q) or moved by keys: arrows,
    with Shift finely, Page Up and Page Down for Q, space on or off, Delete. A double click adds a
    peaking filter. */
class TuningPlot final : public juce::Component {
public:
    explicit TuningPlot(TuningModel& tuningModel);
    ~TuningPlot() override;
    TuningPlot(const TuningPlot&) = delete;
    TuningPlot& operator=(const TuningPlot&) = delete;

    /** The model was asked for something, or another element was picked. */
    std::function<void()> onChange;
    std::function<void(std::size_t)> onSelect;

    void show(const TuningSnapshot& snapshot, std::size_t selectedElement);
    /** Handle of an element; null if it has none. */
    [[nodiscard]] juce::Component* handleOf(std::size_t element);
    [[nodiscard]] FrequencyPlot axes() const;

    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseDoubleClick(const juce::MouseEvent& event) override;

private:
    class Handle;

    void placeHandles();
    void drawCurves(juce::Graphics& g, const FrequencyPlot& plot) const;
    void drawSelected(juce::Graphics& g, const FrequencyPlot& plot) const;
    void drawLegend(juce::Graphics& g) const;

    TuningModel& model;
    std::shared_ptr<const TuningCurves> curves;
    std::vector<DraftElement> elements;
    std::size_t selected = 0;
    bool isBuilding = false;
    /** One an element; those that are not needed are hidden and kept, as one may be at work. */
    std::vector<std::unique_ptr<Handle>> handles;
};

} // namespace saddletone::gui
