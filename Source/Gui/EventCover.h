#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** A page of an event that is read and then left: large words and a row of controls below them. */
class EventCover final : public juce::Component {
public:
    static constexpr int controlHeight = 80;

    EventCover();

    void setWords(const juce::String& newHeading, const juce::StringArray& newSentences);

    /** The row below the words, in this component. */
    [[nodiscard]] juce::Rectangle<int> controlArea() const;

    void paint(juce::Graphics& g) override;

private:
    [[nodiscard]] juce::Rectangle<int> page() const;

    juce::String heading;
    juce::StringArray sentences;
};

} // namespace saddletone::gui
