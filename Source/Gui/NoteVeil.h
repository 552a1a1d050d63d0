#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** Lies over everything else in what a note lies in, while the note is visible: what waits for the
    answer is paled, and takes no mouse. A press on it gives the keyboard back to the note.

    It is no modal state, which in a host would hold the windows of all other plug-ins of this kind as
    well. */
class NoteVeil final : public juce::Component, private juce::ComponentListener {
public:
    /** Owned by the note, or something that goes before it. */
    explicit NoteVeil(juce::Component& noteInFront);
    ~NoteVeil() override;
    NoteVeil(const NoteVeil&) = delete;
    NoteVeil& operator=(const NoteVeil&) = delete;

    void paint(juce::Graphics& g) override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseWheelMove(const juce::MouseEvent&, const juce::MouseWheelDetails&) override {}
    void parentSizeChanged() override;

private:
    void componentVisibilityChanged(juce::Component&) override { follow(); }
    void componentBroughtToFront(juce::Component&) override { follow(); }
    void componentParentHierarchyChanged(juce::Component&) override { follow(); }
    void follow();

    juce::Component& note;
};

} // namespace saddletone::gui
