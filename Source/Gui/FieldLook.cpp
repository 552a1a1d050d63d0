#include "Gui/FieldLook.h"

#include "Gui/Look.h"

namespace saddletone::gui {

void colourField(juce::TextEditor& field)
{
    const Palette palette = paletteOf(field);
    field.setColour(juce::TextEditor::backgroundColourId, palette.control);
    field.setColour(juce::TextEditor::outlineColourId, palette.outline);
    field.setColour(juce::TextEditor::textColourId, palette.text);
    field.setColour(juce::CaretComponent::caretColourId, palette.text);
    field.applyColourToAllText(palette.text);
}

} // namespace saddletone::gui
