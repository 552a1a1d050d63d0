#pragma once

#include "Gui/AuditionModel.h"

namespace saddletone::gui {

/** How far candidates are from each other in loudness, whether that is heard or taken out, and what
    the figures rest on, as one line of text. */
[[nodiscard]] juce::String fairnessWords(const AuditionSnapshot& snapshot);

/** That line, always in sight: differences in level are shown, not hidden. */
class FairnessStrip final : public juce::Component {
public:
    FairnessStrip();

    void show(const AuditionSnapshot& snapshot);
    /** What the line needs, which may have to be broken once. */
    [[nodiscard]] int heightFor(int width) const;

    void paint(juce::Graphics& g) override;

private:
    juce::String words;
};

} // namespace saddletone::gui
