#include "Gui/NoteVeil.h"

#include "Gui/Look.h"

namespace saddletone::gui {

NoteVeil::NoteVeil(juce::Component& noteInFront) : note(noteInFront)
{
    setAccessible(false);
    setMouseClickGrabsKeyboardFocus(false);
    note.addComponentListener(this);
    follow();
}

NoteVeil::~NoteVeil()
{
    note.removeComponentListener(this);
}

void NoteVeil::follow()
{
    juce::Component* const parent = note.getParentComponent();
    if (parent != getParentComponent()) {
        if (parent == nullptr)
            getParentComponent()->removeChildComponent(this);
        else
            parent->addChildComponent(*this);
    }
    if (parent == nullptr)
        return;
    setBounds(parent->getLocalBounds());
    setVisible(note.isVisible());
    if (isVisible())
        toBehind(&note);
}

void NoteVeil::parentSizeChanged()
{
    follow();
}

void NoteVeil::paint(juce::Graphics& g)
{
    g.fillAll(paletteOf(*this).background.withAlpha(0.6F));
}

void NoteVeil::mouseDown(const juce::MouseEvent&)
{
    if (note.isShowing())
        note.grabKeyboardFocus();
}

} // namespace saddletone::gui
