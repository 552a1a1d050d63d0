#include "Gui/LineStyles.h"

#include <algorithm>
#include <array>
#include <cmath>
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

juce::Path dashedOutline(const juce::Path& path, std::size_t index)
{
    const std::vector<float>& dashes = dashPatterns[index % dashPatterns.size()];
    juce::Path dashed;
    juce::PathStrokeType(curveWidth)
        .createDashedStroke(dashed, path, dashes.data(), static_cast<int>(dashes.size()));
    return dashed;
}

void strokeDashed(juce::Graphics& g, const juce::Path& path, std::size_t index)
{
    g.fillPath(dashedOutline(path, index));
}

void hatch(juce::Graphics& g, const juce::Path& area, float spacing)
{
    const juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(area);
    // In one path: drawn line by line each would be cut to the area by itself.
    const auto bounds = area.getBounds();
    juce::Path lines;
    const int lineCount =
        static_cast<int>(std::ceil((bounds.getHeight() + bounds.getWidth()) / spacing));
    for (int line = 0; line < lineCount; ++line) {
        const float offset = static_cast<float>(line) * spacing - bounds.getHeight();
        lines.addLineSegment({bounds.getX() + offset, bounds.getBottom(),
                              bounds.getX() + offset + bounds.getHeight(), bounds.getY()},
                             1.4F);
    }
    g.fillPath(lines);
}

void KeptHatching::fillWith(juce::Graphics& g, juce::Rectangle<int> newRectangle,
                            const Style& newStyle)
{
    const float newScale = g.getInternalContext().getPhysicalPixelScaleFactor();
    if (image.isNull() || newRectangle != rectangle || !(newStyle == style) || newScale != scale) {
        rectangle = newRectangle;
        style = newStyle;
        scale = newScale;
        const auto sizeOf = [this](int length) {
            return std::max(1, static_cast<int>(std::ceil(static_cast<float>(length) * scale)));
        };
        image = juce::Image(juce::Image::ARGB, sizeOf(rectangle.getWidth()),
                            sizeOf(rectangle.getHeight()), true);
        juce::Graphics drawing(image);
        drawing.addTransform(juce::AffineTransform::scale(scale));
        const auto whole = rectangle.withZeroOrigin().toFloat();
        drawing.setColour(style.ground);
        drawing.fillRect(whole);
        drawing.setColour(style.lines);
        juce::Path area;
        area.addRectangle(whole);
        hatch(drawing, area, style.spacing);
    }
    g.setFillType(juce::FillType(
        image,
        juce::AffineTransform::scale(1.0F / scale).translated(rectangle.getPosition().toFloat())));
}

} // namespace saddletone::gui
