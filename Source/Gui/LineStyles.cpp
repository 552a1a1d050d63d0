#include "Gui/LineStyles.h"

#include <array>
#include <vector>

namespace saddletone::gui {

namespace {

constexpr float curveWidth = 1.8F;

/** Dashes that tell the thin curves apart without colour; empty = solid. */
const std::array<std::vector<float>, 8> dashPatterns {{{10.0F, 5.0F},
                                                       {2.0F, 4.0F},
                                                       {14.0F, 4.0F, 2.0F, 4.0F},
                                                       {6.0F, 6.0F},
                                                       {18.0F, 5.0F},
                                                       {10.0F, 3.0F, 2.0F, 3.0F, 2.0F, 3.0F},
                                                       {4.0F, 2.0F},
                                                       {22.0F, 4.0F, 6.0F, 4.0F}}};

} // namespace

void strokeDashed(juce::Graphics& g, const juce::Path& path, std::size_t index)
{
    const std::vector<float>& dashes = dashPatterns[index % dashPatterns.size()];
    juce::Path dashed;
    juce::PathStrokeType(curveWidth)
        .createDashedStroke(dashed, path, dashes.data(), static_cast<int>(dashes.size()));
    g.fillPath(dashed);
}

void hatch(juce::Graphics& g, const juce::Path& area, float spacing)
{
    const juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(area);
    // In one path: drawn line by line each would be cut to the area by itself.
    const auto bounds = area.getBounds();
    juce::Path lines;
    for (float offset = -bounds.getHeight(); offset < bounds.getWidth(); offset += spacing)
        lines.addLineSegment({bounds.getX() + offset, bounds.getBottom(),
                              bounds.getX() + offset + bounds.getHeight(), bounds.getY()},
                             1.4F);
    g.fillPath(lines);
}

} // namespace saddletone::gui
