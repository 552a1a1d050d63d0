#pragma once

#include <juce_core/juce_core.h>

#include <array>
#include <charconv>

namespace saddletone::plugin {

// Numbers as text with a decimal point in every locale. juce::String writes them as the global locale
// of C++ has it, which a host may set: with a comma, what a session keeps would lose its decimals.

/** With so many decimals, 0 to 6; |value| below 1e9. */
[[nodiscard]] inline juce::String decimalText(float value, int numDecimals)
{
    std::array<char, 32> digits {};
    const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value,
                                   std::chars_format::fixed, numDecimals);
    return juce::String(digits.data(), static_cast<std::size_t>(end.ptr - digits.data()));
}

/** As short as reads back as the same number. */
template <typename Number>
[[nodiscard]] juce::String exactText(Number value)
{
    std::array<char, 32> digits {};
    const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value);
    return juce::String(digits.data(), static_cast<std::size_t>(end.ptr - digits.data()));
}

} // namespace saddletone::plugin
