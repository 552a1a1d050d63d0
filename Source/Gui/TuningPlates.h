#pragma once

#include "Gui/TuningModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>
#include <vector>

namespace saddletone::gui {

/** The candidates as numbered plates: pressing one edits it, the small button on it lays its curve
    beside that of the edited one. */
class TuningPlates final : public juce::Component {
public:
    TuningPlates();
    ~TuningPlates() override;
    TuningPlates(const TuningPlates&) = delete;
    TuningPlates& operator=(const TuningPlates&) = delete;

    std::function<void(std::size_t)> onPick;
    std::function<void(std::size_t, bool)> onBeside;

    void show(const TuningSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    class Plate;
    class BesideButton;

    std::vector<std::unique_ptr<Plate>> plates; // kept when there are fewer: one may be at work
    std::vector<std::unique_ptr<BesideButton>> besideButtons;
    std::size_t numShown = 0;
};

} // namespace saddletone::gui
