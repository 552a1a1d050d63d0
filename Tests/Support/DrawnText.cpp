#include "Support/DrawnText.h"

#include "Gui/Look.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

namespace saddletone::test {

namespace {

/** The characters of a typeface's shapes, of those that the program may use. */
using Characters = std::map<int, juce::juce_wchar>;

Characters charactersOf(juce::Typeface& typeface)
{
    Characters characters;
    for (const auto& [first, last] : {std::pair {0x21, 0x17f}, std::pair {0x370, 0x3ff},
                                      std::pair {0x2010, 0x2300}, std::pair {0x25a0, 0x27bf}})
        for (int code = first; code <= last; ++code) {
            juce::Array<int> glyphs;
            juce::Array<float> offsets;
            typeface.getGlyphPositions(
                juce::String::charToString(static_cast<juce::juce_wchar>(code)), glyphs, offsets);
            if (glyphs.size() == 1)
                characters.emplace(glyphs[0], static_cast<juce::juce_wchar>(code));
        }
    return characters;
}

/** Pixels of a rectangle, to be looked at again later. */
struct Patch {
    juce::Rectangle<int> area;
    std::vector<juce::uint32> pixels;
};

Patch copyOf(const juce::Image& image, juce::Rectangle<int> area)
{
    Patch patch;
    patch.area = area.getIntersection(image.getBounds());
    const juce::Image::BitmapData data(image, juce::Image::BitmapData::readOnly);
    for (int y = patch.area.getY(); y < patch.area.getBottom(); ++y)
        for (int x = patch.area.getX(); x < patch.area.getRight(); ++x)
            patch.pixels.push_back(data.getPixelColour(x, y).getARGB());
    return patch;
}

juce::Colour meanOf(const Patch& patch)
{
    double red = 0.0;
    double green = 0.0;
    double blue = 0.0;
    for (const juce::uint32 pixel : patch.pixels) {
        const juce::Colour colour(pixel);
        red += colour.getFloatRed();
        green += colour.getFloatGreen();
        blue += colour.getFloatBlue();
    }
    const double count = std::max<double>(1.0, static_cast<double>(patch.pixels.size()));
    return juce::Colour::fromFloatRGBA(static_cast<float>(red / count),
                                       static_cast<float>(green / count),
                                       static_cast<float>(blue / count), 1.0F);
}

/** A line of text that is being drawn, glyph by glyph. */
struct Line {
    DrawnText text;
    juce::Font font;
    juce::Colour ink;
    float baseline = 0.0F;
    float endX = 0.0F;
    juce::Rectangle<float> deviceArea;
    std::vector<double> contrasts;
    std::vector<std::pair<Patch, Patch>> patches; ///< Before and after it was drawn.
};

/** Draws into an image, and keeps what it is told to write. */
class ReadingRenderer final : public juce::LowLevelGraphicsSoftwareRenderer {
public:
    explicit ReadingRenderer(const juce::Image& target)
        : juce::LowLevelGraphicsSoftwareRenderer(target), image(target)
    {
    }

    void beginTransparencyLayer(float opacity) override
    {
        ++numLayers;
        juce::LowLevelGraphicsSoftwareRenderer::beginTransparencyLayer(opacity);
    }
    void endTransparencyLayer() override
    {
        juce::LowLevelGraphicsSoftwareRenderer::endTransparencyLayer();
        --numLayers;
    }

    void drawGlyph(int glyph, const juce::AffineTransform& place) override
    {
        const bool isRead = numLayers == 0 && stack->clip != nullptr && !stack->transform.isRotated;
        Line* const line = isRead ? read(glyph, place) : nullptr;
        juce::LowLevelGraphicsSoftwareRenderer::drawGlyph(glyph, place);
        if (line != nullptr)
            line->patches.emplace_back(before, copyOf(image, before.area));
    }

    /** Lines as drawn; areas in physical pixels. */
    [[nodiscard]] std::vector<Line>& lines() { return found; }

private:
    Line* read(int glyph, const juce::AffineTransform& place)
    {
        const juce::Font& font = stack->font;
        const juce::Typeface::Ptr typeface = font.getTypefacePtr();
        juce::Path outline;
        typeface->getOutlineForGlyph(glyph, outline);
        const auto toDevice = stack->transform.getTransformWith(
            juce::AffineTransform::scale(font.getHeight() * font.getHorizontalScale(),
                                         font.getHeight())
                .followedBy(place));
        outline.applyTransform(toDevice);
        const auto ink = outline.getBounds();
        if (ink.isEmpty())
            return nullptr;
        auto [known, isNew] = characters.try_emplace(typeface.get());
        if (isNew)
            known->second = charactersOf(*typeface);
        const auto character = known->second.find(glyph);

        const juce::Point<float> start = juce::Point<float>().transformedBy(toDevice);
        const float em = font.getHeightInPoints() * stack->transform.getPhysicalPixelScaleFactor();
        Line& line = lineFor(start, ink, em);
        if (ink.getX() - line.endX > 0.26F * em && line.text.words.isNotEmpty())
            line.text.words << ' ';
        line.text.words << juce::String::charToString(
            character != known->second.end() ? character->second : juce::juce_wchar('?'));
        line.text.hasMissingSign = line.text.hasMissingSign || glyph <= 0;
        line.endX = ink.getRight();
        line.deviceArea = line.deviceArea.isEmpty() ? ink : line.deviceArea.getUnion(ink);
        const auto allowed = stack->clip->getClipBounds().toFloat().expanded(1.0F);
        line.text.isCut = line.text.isCut || !allowed.contains(ink);
        before = copyOf(image, ink.getSmallestIntegerContainer());
        const juce::Colour behind = meanOf(before);
        line.contrasts.push_back(gui::contrastRatio(behind.overlaidWith(line.ink), behind));
        return &line;
    }

    Line& lineFor(juce::Point<float> start, juce::Rectangle<float> ink, float em)
    {
        const juce::Colour colour = stack->fillType.colour;
        if (!found.empty()) {
            Line& last = found.back();
            const float gap = ink.getX() - last.endX;
            if (last.font == stack->font && last.ink == colour
                && std::abs(last.baseline - start.y) < 0.5F && gap > -0.5F * em && gap < 1.2F * em)
                return last;
        }
        Line line;
        line.font = stack->font;
        line.ink = colour;
        line.baseline = start.y;
        line.text.emPixels = stack->font.getHeightInPoints();
        line.text.isSqueezed = stack->font.getHorizontalScale() < 0.995F;
        found.push_back(std::move(line));
        return found.back();
    }

    juce::Image image;
    int numLayers = 0;
    Patch before; ///< Of the newest glyph.
    std::vector<Line> found;
    std::map<juce::Typeface*, Characters> characters;
};

/** Whether less than half of the ink is still there. */
bool isDrawnOver(const Line& line, const juce::Image& image)
{
    std::size_t numSame = 0;
    std::size_t numInked = 0;
    for (const auto& [before, after] : line.patches) {
        const Patch now = copyOf(image, after.area);
        for (std::size_t index = 0; index < now.pixels.size(); ++index) {
            const bool isInk = before.pixels[index] != after.pixels[index];
            numInked += isInk;
            numSame += isInk && now.pixels[index] == after.pixels[index];
        }
    }
    return 2 * numSame < numInked;
}

} // namespace

bool DrawnText::isShortened() const
{
    return words.endsWith("..") || words.endsWith(juce::String::fromUTF8(" \xe2\x80\xa6"));
}

std::vector<DrawnText> drawnText(juce::Component& component, float scale)
{
    const auto size = (component.getLocalBounds().toFloat() * scale).toNearestInt();
    juce::Image image(juce::Image::RGB, size.getWidth(), size.getHeight(), true);
    ReadingRenderer renderer(image);
    renderer.addTransform(juce::AffineTransform::scale(scale));
    juce::Graphics g(renderer);
    component.paintEntireComponent(g, true);

    std::vector<DrawnText> texts;
    for (Line& line : renderer.lines()) {
        line.text.area = line.deviceArea / scale;
        std::sort(line.contrasts.begin(), line.contrasts.end());
        line.text.contrast = line.contrasts[line.contrasts.size() / 4];
        line.text.isCovered = isDrawnOver(line, image);
        texts.push_back(std::move(line.text));
    }
    return texts;
}

} // namespace saddletone::test
