#include "Gui/TabKey.h"

namespace saddletone::gui {

bool tabInto(juce::Component& container, const juce::KeyPress& key)
{
    if (!key.isKeyCode(juce::KeyPress::tabKey) || !container.hasKeyboardFocus(false))
        return false;
    const std::vector<juce::Component*> inside =
        juce::KeyboardFocusTraverser().getAllComponents(&container);
    if (inside.empty())
        return false;
    (key.getModifiers().isShiftDown() ? inside.back() : inside.front())->grabKeyboardFocus();
    return true;
}

} // namespace saddletone::gui
