#include "Core/Report/MarkupText.h"

#include <cstddef>
#include <cstdint>

namespace saddletone::report {

namespace {

constexpr std::string_view replacementCharacter = "\xEF\xBF\xBD";

struct DecodedCharacter {
    std::uint32_t codePoint = 0;
    std::size_t numBytes = 0; ///< 0: not UTF-8.
};

/** The first character of non-empty text, by RFC 3629. */
DecodedCharacter decodeFirst(std::string_view text)
{
    const auto byteAt = [&](std::size_t index) {
        return static_cast<std::uint32_t>(static_cast<unsigned char>(text[index]));
    };
    const std::uint32_t lead = byteAt(0);
    if (lead < 0x80)
        return {lead, 1};
    const std::size_t numBytes = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
    if (lead < 0xC2 || lead > 0xF4 || text.size() < numBytes)
        return {};
    std::uint32_t codePoint = lead & (0x7FU >> numBytes);
    for (std::size_t index = 1; index < numBytes; ++index) {
        if ((byteAt(index) & 0xC0U) != 0x80U)
            return {};
        codePoint = (codePoint << 6U) | (byteAt(index) & 0x3FU);
    }
    constexpr std::uint32_t leastOfThreeBytes = 0x800;
    constexpr std::uint32_t leastOfFourBytes = 0x10000;
    const bool isOverlong = (numBytes == 3 && codePoint < leastOfThreeBytes)
                            || (numBytes == 4 && codePoint < leastOfFourBytes);
    const bool isSurrogate = codePoint >= 0xD800 && codePoint <= 0xDFFF;
    if (isOverlong || isSurrogate || codePoint > 0x10FFFF)
        return {};
    return {codePoint, numBytes};
}

bool isXmlCharacter(std::uint32_t codePoint)
{
    if (codePoint < 0x20)
        return codePoint == '\t' || codePoint == '\n' || codePoint == '\r';
    return codePoint != 0x7F && codePoint != 0xFFFE && codePoint != 0xFFFF;
}

} // namespace

std::string escapeMarkup(std::string_view text)
{
    std::string escaped;
    escaped.reserve(text.size());
    while (!text.empty()) {
        const DecodedCharacter character = decodeFirst(text);
        if (character.numBytes == 0) {
            escaped += replacementCharacter;
            text.remove_prefix(1);
            continue;
        }
        switch (character.codePoint) {
        case '&': escaped += "&amp;"; break;
        case '<': escaped += "&lt;"; break;
        case '>': escaped += "&gt;"; break;
        case '"': escaped += "&quot;"; break;
        case '\'': escaped += "&#39;"; break;
        default:
            if (isXmlCharacter(character.codePoint))
                escaped += text.substr(0, character.numBytes);
        }
        text.remove_prefix(character.numBytes);
    }
    return escaped;
}

} // namespace saddletone::report
