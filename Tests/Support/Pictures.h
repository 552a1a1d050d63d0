#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::test {

/** How far two pictures of the same size are apart; levels of colour run from 0 to 255. */
struct PictureDifference {
    double mean = 0.0;        ///< Of all pixels and colours.
    double worstBlock = 0.0;  ///< The same of the block where it is largest.
    juce::Point<int> worstAt; ///< Middle of that block, in pixels of the picture.

    /** Fonts that are hinted or smoothed otherwise move edges by parts of a pixel, which stays below
        both limits; a panel that is gone, moved or empty does not. */
    [[nodiscard]] bool isSmall() const noexcept;
};

/** A quarter as wide and high, each pixel the mean of sixteen. */
[[nodiscard]] juce::Image quarterOf(const juce::Image& image);

/** Infinite where the sizes differ. */
[[nodiscard]] PictureDifference differenceOf(const juce::Image& one, const juce::Image& other);

/** What is drawn of a component, at one physical pixel for a logical one. */
[[nodiscard]] juce::Image pictureOf(juce::Component& component);

} // namespace saddletone::test
