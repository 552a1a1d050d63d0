#include "Plugin/WindowScale.h"

#include "Gui/AuditionEditor.h"

#include <algorithm>

namespace saddletone::plugin {

juce::Rectangle<int> placeAtScale(juce::Point<int> wantedSize, juce::Rectangle<int> displayArea,
                                  juce::BorderSize<int> frame)
{
    using Editor = gui::AuditionEditor;
    const juce::Rectangle<int> room = frame.subtractedFrom(displayArea);
    const int width = std::max(Editor::smallestWidth, std::min(wantedSize.x, room.getWidth()));
    const int height = std::max(Editor::smallestHeight, std::min(wantedSize.y, room.getHeight()));
    auto place = room.withSizeKeepingCentre(width, height);
    // Where there is no room for all of it, its heading stays in reach.
    return place.withPosition(std::max(place.getX(), room.getX()),
                              std::max(place.getY(), room.getY()));
}

} // namespace saddletone::plugin
