#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::test {

/** Puts a component on the desktop and acts on it as the window system does: what is pressed is what
    lies under the pointer. */
class WindowHand {
public:
    explicit WindowHand(juce::Component& window) : root(window)
    {
        root.addToDesktop(juce::ComponentPeer::windowHasTitleBar);
        root.setVisible(true);
    }
    ~WindowHand() { root.removeFromDesktop(); }
    WindowHand(const WindowHand&) = delete;
    WindowHand& operator=(const WindowHand&) = delete;

    void press(juce::Component& target)
    {
        send(target, juce::ModifierKeys());
        send(target, juce::ModifierKeys::leftButtonModifier);
    }
    void release(juce::Component& target) { send(target, juce::ModifierKeys()); }
    void click(juce::Component& target)
    {
        press(target);
        release(target);
    }
    /** To what has the keyboard, else to the window. */
    bool type(const juce::KeyPress& key)
    {
        return root.getPeer() != nullptr && root.getPeer()->handleKeyPress(key);
    }

private:
    void send(juce::Component& target, juce::ModifierKeys keys)
    {
        juce::ComponentPeer* const peer = root.getPeer();
        jassert(peer != nullptr);
        timeMs += 200; // no double clicks
        peer->handleMouseEvent(
            juce::MouseInputSource::InputSourceType::mouse,
            root.getLocalPoint(&target, target.getLocalBounds().toFloat().getCentre()), keys,
            juce::MouseInputSource::defaultPressure, juce::MouseInputSource::defaultOrientation,
            timeMs);
    }

    juce::Component& root;
    juce::int64 timeMs = juce::Time::currentTimeMillis();
};

} // namespace saddletone::test
