#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::test {

/** A window that is in no display: JUCE routes mouse, keys and keyboard focus through it to what is
    in it as through any other, and nothing of the display's own can come in between. Sizes and
    places are logical pixels of the window. */
class OffscreenWindow final : public juce::Component {
public:
    /** Shows the content, which must outlive the window, at its own size, and gives it the keyboard. */
    explicit OffscreenWindow(juce::Component& content);
    ~OffscreenWindow() override;

    void resizeTo(int width, int height);

    /** A key goes to what has the keyboard and up from there; then what it has posted is done.
        Returns whether anything used it. */
    bool type(const juce::KeyPress& key);
    bool type(char character);
    /** Presses and lets go in the middle of a component; a failed test if it cannot be hit there. */
    void click(juce::Component& target);
    void clickAt(juce::Point<int> place);
    /** The button goes down and stays so. */
    void pressAt(juce::Point<int> place);
    void moveTo(juce::Point<int> place);
    void letGo();
    void scrollAt(juce::Point<int> place, float steps);
    /** What a press at a place would reach. */
    [[nodiscard]] juce::Component* hitAt(juce::Point<int> place);
    [[nodiscard]] juce::Point<int> middleOf(juce::Component& target);

private:
    class Peer;

    juce::ComponentPeer* createNewPeer(int styleFlags, void*) override;
    void resized() override;
    void sendMouse();

    juce::Component& content;
    juce::Point<int> pointer;
    juce::ModifierKeys buttons;
    juce::int64 timeMs = 1000; ///< Each press is too late to be a double click of the one before.
};

/** Whether it and all it lies in are visible. */
[[nodiscard]] bool isSeen(const juce::Component& component);

/** The first visible component of a title below one; null if there is none. */
[[nodiscard]] juce::Component* findTitled(juce::Component& component, const juce::String& title);

} // namespace saddletone::test
