#pragma once

#include "Gui/AuditionModel.h"

#include <functional>

namespace saddletone::gui {

/** The candidates as a row of large numbered plates; the one that is heard also says so. */
class PlateRow final : public juce::Component {
public:
    PlateRow();
    ~PlateRow() override;

    /** Called with the index of a plate that was pressed. */
    std::function<void(std::size_t)> onPick;

    void show(const AuditionSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    class Plate;

    std::shared_ptr<const JobView> shown;
    std::size_t heard = 0;
    bool busy = false;
    std::vector<std::unique_ptr<Plate>> plates;
};

} // namespace saddletone::gui
