#include "Core/Files/StateElement.h"

#include "Core/Files/Utf8.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>
#include <utility>

namespace saddletone::files {

namespace {

constexpr std::string_view blanks = " \t\r\n";
constexpr std::array<std::uint8_t, 4> stateMark {'V', 'C', '2', '!'};
constexpr std::size_t numHeadBytes = 8;

bool isNameStart(char character)
{
    return (character >= 'a' && character <= 'z') || (character >= 'A' && character <= 'Z')
           || character == '_' || character == ':';
}

bool isNameCharacter(char character)
{
    return isNameStart(character) || (character >= '0' && character <= '9') || character == '-'
           || character == '.';
}

/** The character of an entity by what stands between '&' and ';'. */
std::optional<std::string> entityCharacter(std::string_view name)
{
    constexpr std::array<std::pair<std::string_view, char>, 5> named {
        {{"amp", '&'}, {"lt", '<'}, {"gt", '>'}, {"quot", '"'}, {"apos", '\''}}};
    for (const auto& [known, character] : named)
        if (name == known)
            return std::string(1, character);
    if (!name.starts_with('#'))
        return std::nullopt;
    name.remove_prefix(1);
    const bool isHexadecimal = name.starts_with('x');
    if (isHexadecimal)
        name.remove_prefix(1);
    std::uint32_t codePoint = 0;
    const char* const end = name.data() + name.size();
    const auto [stop, error] =
        std::from_chars(name.data(), end, codePoint, isHexadecimal ? 16 : 10);
    if (error != std::errc() || stop != end)
        return std::nullopt;
    return codePoint == 0 ? std::string(replacementCharacter) : encodeUtf8(codePoint);
}

/** Characters of an attribute or between tags, entities resolved. */
std::optional<std::string> resolved(std::string_view raw)
{
    std::string text;
    text.reserve(raw.size());
    while (!raw.empty()) {
        const std::size_t plain = std::min(raw.find('&'), raw.size());
        text += raw.substr(0, plain);
        raw.remove_prefix(plain);
        if (raw.empty())
            break;
        const std::size_t end = raw.find(';');
        if (end == std::string_view::npos)
            return std::nullopt;
        const auto character = entityCharacter(raw.substr(1, end - 1));
        if (!character)
            return std::nullopt;
        text += *character;
        raw.remove_prefix(end + 1);
    }
    return text;
}

/** What is left of a text, read from its front. Every step says whether it was there. */
class StateReader {
public:
    explicit StateReader(std::string_view text) : rest(text) {}

    std::optional<StateElement> document()
    {
        skipBlanks();
        if (take("<?xml")) {
            const std::size_t end = rest.find("?>");
            if (end == std::string_view::npos)
                return std::nullopt;
            rest.remove_prefix(end + 2);
            skipBlanks();
        }
        auto root = element(1);
        skipBlanks();
        if (!rest.empty())
            return std::nullopt;
        return root;
    }

private:
    bool take(std::string_view token)
    {
        if (!rest.starts_with(token))
            return false;
        rest.remove_prefix(token.size());
        return true;
    }

    void skipBlanks() { rest.remove_prefix(std::min(rest.find_first_not_of(blanks), rest.size())); }

    /** Empty where there is none. */
    std::string name()
    {
        if (rest.empty() || !isNameStart(rest.front()))
            return {};
        const auto end = std::ranges::find_if_not(rest, isNameCharacter);
        std::string taken(rest.begin(), end);
        rest.remove_prefix(taken.size());
        return taken;
    }

    std::optional<StateElement> element(std::size_t depth)
    {
        StateElement read;
        if (depth > maxStateDepth || !take("<"))
            return std::nullopt;
        read.tag = name();
        if (read.tag.empty() || !attributes(read.attributes))
            return std::nullopt;
        if (take("/>"))
            return read;
        if (!take(">") || !children(read, depth))
            return std::nullopt;
        return read;
    }

    bool attributes(std::vector<StateElement::Attribute>& read)
    {
        for (;;) {
            const std::size_t before = rest.size();
            skipBlanks();
            if (rest.starts_with('/') || rest.starts_with('>'))
                return true;
            auto attribute = rest.size() < before ? oneAttribute() : std::nullopt;
            if (!attribute || read.size() == maxStateAttributes
                || std::ranges::find(read, attribute->name, &StateElement::Attribute::name)
                       != read.end())
                return false;
            read.push_back(std::move(*attribute));
        }
    }

    std::optional<StateElement::Attribute> oneAttribute()
    {
        StateElement::Attribute read;
        read.name = name();
        skipBlanks();
        if (read.name.empty() || !take("="))
            return std::nullopt;
        skipBlanks();
        if (!rest.starts_with('"') && !rest.starts_with('\''))
            return std::nullopt;
        const std::size_t end = rest.find(rest.front(), 1);
        if (end == std::string_view::npos)
            return std::nullopt;
        const std::string_view raw = rest.substr(1, end - 1);
        auto value = raw.find('<') == std::string_view::npos ? resolved(raw) : std::nullopt;
        if (!value)
            return std::nullopt;
        read.value = std::move(*value);
        rest.remove_prefix(end + 1);
        return read;
    }

    /** All up to the tag that closes the parent, which is taken too. */
    bool children(StateElement& parent, std::size_t depth)
    {
        for (;;) {
            const std::size_t end = rest.find('<');
            if (end == std::string_view::npos)
                return false;
            auto text = resolved(rest.substr(0, end));
            if (!text)
                return false;
            rest.remove_prefix(end);
            if (text->find_first_not_of(blanks) != std::string::npos)
                parent.children.emplace_back().text = std::move(*text);
            if (take("</")) {
                const bool isItsOwn = name() == parent.tag;
                skipBlanks();
                return isItsOwn && take(">");
            }
            auto child = element(depth + 1);
            if (!child)
                return false;
            parent.children.push_back(std::move(*child));
        }
    }

    std::string_view rest;
};

/** The text behind the head, without what the head does not count; nothing if it is no state. */
std::optional<std::string_view> textOf(std::span<const std::uint8_t> bytes)
{
    if (bytes.size() <= numHeadBytes || !std::ranges::equal(bytes.first(4), stateMark))
        return std::nullopt;
    std::size_t numBytes = 0;
    for (std::size_t index = 0; index < 4; ++index)
        numBytes |= static_cast<std::size_t>(bytes[4 + index]) << (8 * index);
    const auto behind = bytes.subspan(numHeadBytes);
    std::string_view text(reinterpret_cast<const char*>(behind.data()),
                          std::min(numBytes, behind.size()));
    text = text.substr(0, text.find('\0'));
    if (text.size() > maxStateBytes || !isUtf8(text))
        return std::nullopt;
    return text;
}

} // namespace

dsp::Result<StateElement> parseStateBytes(std::span<const std::uint8_t> bytes)
{
    if (const auto text = textOf(bytes))
        if (auto read = StateReader(*text).document())
            return std::move(*read);
    return dsp::fail(dsp::ErrorCode::malformed, damagedStateWords);
}

} // namespace saddletone::files
