#include "Support/OffscreenWindow.h"

#include "Support/EditorFixtures.h"
#include "Support/MessageLoop.h"
#include "Support/UnmappedWindow.h"

#include <catch2/catch.hpp>

namespace saddletone::test {

/** A native window that is none; it has the keyboard from the beginning. */
class OffscreenWindow::Peer final : public juce::ComponentPeer {
public:
    Peer(juce::Component& owner, int flags) : juce::ComponentPeer(owner, flags) {}

    void* getNativeHandle() const override { return native.handle(); }
    void setVisible(bool) override {}
    void setTitle(const juce::String&) override {}
    void setBounds(const juce::Rectangle<int>& newBounds, bool) override
    {
        bounds = newBounds;
        handleMovedOrResized();
    }
    juce::Rectangle<int> getBounds() const override { return bounds; }
    juce::Point<float> localToGlobal(juce::Point<float> place) override
    {
        return place + bounds.getPosition().toFloat();
    }
    juce::Point<float> globalToLocal(juce::Point<float> place) override
    {
        return place - bounds.getPosition().toFloat();
    }
    void setMinimised(bool) override {}
    bool isMinimised() const override { return false; }
    void setFullScreen(bool) override {}
    bool isFullScreen() const override { return false; }
    void setIcon(const juce::Image&) override {}
    bool contains(juce::Point<int> place, bool) const override
    {
        return bounds.withZeroOrigin().contains(place);
    }
    OptionalBorderSize getFrameSizeIfPresent() const override { return {}; }
    juce::BorderSize<int> getFrameSize() const override { return {}; }
    bool setAlwaysOnTop(bool) override { return true; }
    void toFront(bool) override {}
    void toBehind(juce::ComponentPeer*) override {}
    bool isFocused() const override { return true; }
    void grabFocus() override {}
    void repaint(const juce::Rectangle<int>&) override {}
    void performAnyPendingRepaintsNow() override {}
    void setAlpha(float) override {}
    juce::StringArray getAvailableRenderingEngines() override { return {"none"}; }
    void textInputRequired(juce::Point<int>, juce::TextInputTarget&) override {}

private:
    UnmappedWindow native; // JUCE sets the cursor of what the mouse is over
    juce::Rectangle<int> bounds;
};

OffscreenWindow::OffscreenWindow(juce::Component& shown) : content(shown)
{
    setOpaque(true);
    setSize(content.getWidth(), content.getHeight());
    addAndMakeVisible(content);
    setVisible(true);
    addToDesktop(0);
    content.grabKeyboardFocus();
}

OffscreenWindow::~OffscreenWindow()
{
    if (buttons.isAnyMouseButtonDown())
        letGo();
    removeChildComponent(&content);
    removeFromDesktop();
}

juce::ComponentPeer* OffscreenWindow::createNewPeer(int styleFlags, void*)
{
    return new Peer(*this, styleFlags); // the component owns it, as JUCE has it
}

void OffscreenWindow::resized()
{
    content.setBounds(getLocalBounds());
}

void OffscreenWindow::resizeTo(int width, int height)
{
    setSize(width, height);
}

bool OffscreenWindow::type(const juce::KeyPress& key)
{
    const bool wasUsed = getPeer()->handleKeyPress(key);
    runMessages(5); // a button that is pressed by key acts afterwards
    return wasUsed;
}

bool OffscreenWindow::type(char character)
{
    return type(characterKey(character));
}

juce::Point<int> OffscreenWindow::middleOf(juce::Component& target)
{
    return getLocalArea(&target, target.getLocalBounds()).getCentre();
}

juce::Component* OffscreenWindow::hitAt(juce::Point<int> place)
{
    return getComponentAt(place);
}

void OffscreenWindow::click(juce::Component& target)
{
    const juce::Component* const hit = hitAt(middleOf(target));
    INFO("a press on " << target.getTitle());
    REQUIRE(hit != nullptr);
    INFO("is taken by " << hit->getTitle());
    REQUIRE((hit == &target || target.isParentOf(hit)));
    clickAt(middleOf(target));
}

void OffscreenWindow::clickAt(juce::Point<int> place)
{
    pressAt(place);
    letGo();
}

void OffscreenWindow::sendMouse()
{
    juce::ModifierKeys::currentModifiers = buttons;
    getPeer()->handleMouseEvent(juce::MouseInputSource::InputSourceType::mouse,
                                pointer.toFloat() * getDesktopScaleFactor(), buttons,
                                juce::MouseInputSource::defaultPressure,
                                juce::MouseInputSource::defaultOrientation, timeMs);
}

void OffscreenWindow::pressAt(juce::Point<int> place)
{
    timeMs += 5000;
    pointer = place;
    buttons = {};
    sendMouse();
    buttons = juce::ModifierKeys(juce::ModifierKeys::leftButtonModifier);
    sendMouse();
}

void OffscreenWindow::moveTo(juce::Point<int> place)
{
    timeMs += 30;
    pointer = place;
    sendMouse();
}

void OffscreenWindow::letGo()
{
    timeMs += 30;
    buttons = {};
    sendMouse();
}

void OffscreenWindow::scrollAt(juce::Point<int> place, float steps)
{
    timeMs += 5000;
    moveTo(place);
    const juce::MouseWheelDetails wheel {0.0F, steps, false, false, false};
    getPeer()->handleMouseWheel(juce::MouseInputSource::InputSourceType::mouse,
                                pointer.toFloat() * getDesktopScaleFactor(), timeMs, wheel);
}

bool isSeen(const juce::Component& component)
{
    for (const juce::Component* each = &component; each != nullptr;
         each = each->getParentComponent())
        if (!each->isVisible())
            return false;
    return true;
}

juce::Component* findTitled(juce::Component& component, const juce::String& title)
{
    for (juce::Component* const child : component.getChildren()) {
        if (!child->isVisible())
            continue;
        if (child->getTitle() == title)
            return child;
        if (juce::Component* const found = findTitled(*child, title))
            return found;
    }
    return nullptr;
}

} // namespace saddletone::test
