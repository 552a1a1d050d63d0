#include "Core/Report/MarkupText.h"

#include "Core/Files/Utf8.h"

#include <cstdint>

namespace saddletone::report {

namespace {

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
        const files::DecodedCharacter character = files::decodeFirst(text);
        if (character.numBytes == 0) {
            escaped += files::replacementCharacter;
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
