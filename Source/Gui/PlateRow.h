#pragma once

#include "Gui/AuditionModel.h"

#include <functional>

namespace saddletone::gui {

/** The candidates as a row of large numbered plates; the one that is heard also says so. */
class PlateRow final : public juce::Component {
public:
    PlateRow();
    ~PlateRow() override;
    PlateRow(const PlateRow&) = delete;
    PlateRow& operator=(const PlateRow&) = delete;

    /** Called with the index of a plate that was pressed. */
    std::function<void(std::size_t)> onPick;

    void show(const AuditionSnapshot& snapshot);
    /** Whether few plates share all of the width. */
    void setFillsWidth(bool shouldFill) { fillsWidth = shouldFill; }
    /** Where the plates are, in this component. */
    [[nodiscard]] std::vector<juce::Rectangle<int>> plateAreas() const;

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    class Plate;

    std::shared_ptr<const JobView> shown;
    std::size_t heard = 0;
    bool busy = false;
    bool fillsWidth = false;
    std::vector<std::unique_ptr<Plate>> plates;
};

} // namespace saddletone::gui
