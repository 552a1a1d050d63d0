#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** A combo box that a screen reader calls by its title and by what is chosen; JUCE's own says only
    the latter, which tells nobody what "Both" is both of. */
class ChoiceBox final : public juce::ComboBox {
public:
    std::unique_ptr<juce::AccessibilityHandler> createAccessibilityHandler() override;
};

} // namespace saddletone::gui
