#pragma once

#include "Gui/TuningModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** A finding in words: its headline, then paragraphs; scrolls where there is more of it. */
class FindingPanel final : public juce::Component {
public:
    explicit FindingPanel(const juce::String& title);

    /** Nothing: it is being worked out. */
    void show(const std::optional<FindingView>& finding);

    void resized() override;

private:
    class Text;

    juce::Viewport view;
    std::unique_ptr<juce::Component> text;
};

} // namespace saddletone::gui
