#pragma once

#include "Core/Dsp/Result.h"

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::files {

/** One element of the state that a host keeps of the plug-in. What the plug-in writes has attributes
    and one level of children; deeper ones and text are what a later version may add. */
struct StateElement {
    struct Attribute {
        std::string name;
        std::string value; ///< UTF-8 without a zero.

        bool operator==(const Attribute&) const = default;
    };

    std::string tag;                   ///< Empty: this is text between elements.
    std::string text;                  ///< UTF-8 without a zero; only where there is no tag.
    std::vector<Attribute> attributes; ///< In the order of the file; each name once.
    std::vector<StateElement> children;

    bool operator==(const StateElement&) const = default;
};

/** Elements within elements, the outermost counted; deeper ones are refused, as every reader of a
    state goes through it by recursion. */
inline constexpr std::size_t maxStateDepth = 16;
/** Attributes of one element; ours have ten. */
inline constexpr std::size_t maxStateAttributes = 256;
/** The longest state that is read. Ours have some hundred bytes for each file of the list. */
inline constexpr std::size_t maxStateBytes = 4'194'304;

/** What is said of a state that cannot be read. */
inline constexpr const char* damagedStateWords =
    "What the host kept of Saddletone is damaged, so everything stays as it is. Open an earlier "
    "version of the session, or open the job again and save the session.";

/** Reads what a host kept: a mark of four bytes, the number of bytes of text (little-endian), and
    XML as far as the plug-in's framework writes it, which may be cut off after its last tag. The
    plug-in reads states with this before the framework does, whose reader goes beyond the end of
    damaged ones and follows entities that name themselves.

    Refused as malformed: another mark, text that is not UTF-8, document types, comments, entities
    other than the five of XML and those of numbers, an attribute given twice, a tag that is not
    closed, what is beyond the limits above, anything but blanks after the last tag. A number that no
    character has becomes U+FFFD. Text of blanks alone is left out. */
[[nodiscard]] dsp::Result<StateElement> parseStateBytes(std::span<const std::uint8_t> bytes);

} // namespace saddletone::files
