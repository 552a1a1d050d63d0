#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace saddletone::files {

/** U+FFFD, which stands for what is no character. */
inline constexpr std::string_view replacementCharacter = "\xEF\xBF\xBD";

struct DecodedCharacter {
    std::uint32_t codePoint = 0;
    std::size_t numBytes = 0; ///< 0: not UTF-8.
};

/** The first character of text that is not empty, by RFC 3629: neither overlong nor half of a
    surrogate pair. */
[[nodiscard]] DecodedCharacter decodeFirst(std::string_view text);

/** Whether all of a text is UTF-8. */
[[nodiscard]] bool isUtf8(std::string_view text);

/** A character as UTF-8; U+FFFD for a number that no character has. */
[[nodiscard]] std::string encodeUtf8(std::uint32_t codePoint);

} // namespace saddletone::files
