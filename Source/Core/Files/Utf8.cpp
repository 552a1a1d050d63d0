#include "Core/Files/Utf8.h"

#include <cassert>

namespace saddletone::files {

namespace {

constexpr std::uint32_t leastOfTwoBytes = 0x80;
constexpr std::uint32_t leastOfThreeBytes = 0x800;
constexpr std::uint32_t leastOfFourBytes = 0x10000;

/** Neither half of a surrogate pair nor beyond the last plane. */
bool isCharacter(std::uint32_t codePoint)
{
    return codePoint <= 0x10FFFF && (codePoint < 0xD800 || codePoint > 0xDFFF);
}

} // namespace

DecodedCharacter decodeFirst(std::string_view text)
{
    assert(!text.empty());
    const auto byteAt = [&](std::size_t index) {
        return static_cast<std::uint32_t>(static_cast<unsigned char>(text[index]));
    };
    const std::uint32_t lead = byteAt(0);
    if (lead < leastOfTwoBytes)
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
    const bool isOverlong = (numBytes == 3 && codePoint < leastOfThreeBytes)
                            || (numBytes == 4 && codePoint < leastOfFourBytes);
    if (isOverlong || !isCharacter(codePoint))
        return {};
    return {codePoint, numBytes};
}

bool isUtf8(std::string_view text)
{
    while (!text.empty()) {
        const std::size_t numBytes = decodeFirst(text).numBytes;
        if (numBytes == 0)
            return false;
        text.remove_prefix(numBytes);
    }
    return true;
}

std::string encodeUtf8(std::uint32_t codePoint)
{
    if (!isCharacter(codePoint))
        return std::string(replacementCharacter);
    if (codePoint < leastOfTwoBytes)
        return {static_cast<char>(codePoint)};
    const auto continuation = [&](unsigned shift) {
        return static_cast<char>(0x80U | ((codePoint >> shift) & 0x3FU));
    };
    if (codePoint < leastOfThreeBytes)
        return {static_cast<char>(0xC0U | (codePoint >> 6U)), continuation(0)};
    if (codePoint < leastOfFourBytes)
        return {static_cast<char>(0xE0U | (codePoint >> 12U)), continuation(6), continuation(0)};
    return {static_cast<char>(0xF0U | (codePoint >> 18U)), continuation(12), continuation(6),
            continuation(0)};
}

} // namespace saddletone::files
