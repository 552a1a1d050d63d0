#include "Support/Pictures.h"

#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>

namespace saddletone::test {

namespace {

constexpr int blockPixels = 12;
constexpr double mostMean = 2.0;
constexpr double mostOfBlock = 9.0;

/** Mean over a part of both, of the differences of red, green and blue. */
double meanDifference(const juce::Image::BitmapData& one, const juce::Image::BitmapData& other,
                      juce::Rectangle<int> area)
{
    double sum = 0.0;
    for (int y = area.getY(); y < area.getBottom(); ++y)
        for (int x = area.getX(); x < area.getRight(); ++x) {
            const juce::Colour first = one.getPixelColour(x, y);
            const juce::Colour second = other.getPixelColour(x, y);
            sum += std::abs(first.getRed() - second.getRed())
                   + std::abs(first.getGreen() - second.getGreen())
                   + std::abs(first.getBlue() - second.getBlue());
        }
    return sum / (3.0 * area.getWidth() * area.getHeight());
}

} // namespace

bool PictureDifference::isSmall() const noexcept
{
    return mean <= mostMean && worstBlock <= mostOfBlock;
}

juce::Image quarterOf(const juce::Image& image)
{
    constexpr int step = 4;
    juce::Image small(juce::Image::RGB, image.getWidth() / step, image.getHeight() / step, true);
    const juce::Image::BitmapData from(image, juce::Image::BitmapData::readOnly);
    juce::Image::BitmapData to(small, juce::Image::BitmapData::writeOnly);
    for (int y = 0; y < small.getHeight(); ++y)
        for (int x = 0; x < small.getWidth(); ++x) {
            std::array<int, 3> sums {};
            for (int row = 0; row < step; ++row)
                for (int column = 0; column < step; ++column) {
                    const juce::Colour colour =
                        from.getPixelColour(step * x + column, step * y + row);
                    sums[0] += colour.getRed();
                    sums[1] += colour.getGreen();
                    sums[2] += colour.getBlue();
                }
            const auto mean = [](int sum) {
                return static_cast<juce::uint8>((sum + step * step / 2) / (step * step));
            };
            to.setPixelColour(x, y, juce::Colour(mean(sums[0]), mean(sums[1]), mean(sums[2])));
        }
    return small;
}

PictureDifference differenceOf(const juce::Image& one, const juce::Image& other)
{
    PictureDifference difference;
    if (one.isNull() || one.getBounds() != other.getBounds()) {
        difference.mean = difference.worstBlock = std::numeric_limits<double>::infinity();
        return difference;
    }
    const juce::Image::BitmapData first(one, juce::Image::BitmapData::readOnly);
    const juce::Image::BitmapData second(other, juce::Image::BitmapData::readOnly);
    difference.mean = meanDifference(first, second, one.getBounds());
    for (int y = 0; y < one.getHeight(); y += blockPixels)
        for (int x = 0; x < one.getWidth(); x += blockPixels) {
            const auto block = juce::Rectangle<int>(x, y, blockPixels, blockPixels)
                                   .getIntersection(one.getBounds());
            const double here = meanDifference(first, second, block);
            if (here > difference.worstBlock) {
                difference.worstBlock = here;
                difference.worstAt = block.getCentre();
            }
        }
    return difference;
}

juce::Image pictureOf(juce::Component& component)
{
    return component.createComponentSnapshot(component.getLocalBounds(), true, 1.0F)
        .convertedToFormat(juce::Image::RGB);
}

} // namespace saddletone::test
