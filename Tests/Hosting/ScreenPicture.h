#pragma once

#include <juce_graphics/juce_graphics.h>

#include <cstddef>

namespace saddletone::test {

/** Colours that the X server shows of every third pixel in an area of the screen, whoever drew
    them; 0: there is no such area. */
[[nodiscard]] std::size_t countColoursOnScreen(const juce::Rectangle<int>& area);

} // namespace saddletone::test
