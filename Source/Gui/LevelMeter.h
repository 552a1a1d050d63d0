#pragma once

#include "Gui/AuditionModel.h"

namespace saddletone::gui {

/** Peak of what goes to the headphones, with the ceiling as a mark and words for its state. */
class LevelMeter final : public juce::Component {
public:
    LevelMeter();

    /** Expects to be called about 30 times a second. */
    void show(const AuditionSnapshot& snapshot);

    void paint(juce::Graphics& g) override;

private:
    double levelDbfs = -400.0;
    double ceilingDbfs = -6.0;
    double limitDb = 0.0;
    double guardDb = 0.0; ///< What the ceiling of the level at the ear takes off.
    double ceilingDba = 80.0;
    juce::String earWords; ///< Where the level at the ear is known.
    int framesToHold = 0;
};

} // namespace saddletone::gui
