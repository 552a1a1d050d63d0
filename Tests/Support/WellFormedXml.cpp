#include "Support/WellFormedXml.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <set>
#include <vector>

namespace saddletone::test {

namespace {

bool isNameCharacter(char c)
{
    return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '-' || c == '_' || c == ':'
           || c == '.';
}

std::string entityProblem(std::string_view text)
{
    constexpr std::array<std::string_view, 5> named {"&amp;", "&lt;", "&gt;", "&quot;", "&apos;"};
    for (auto found = text.find('&'); found != std::string_view::npos;
         found = text.find('&', found + 1)) {
        const std::string_view rest = text.substr(found);
        const auto end = rest.find(';');
        const bool isNumeric = rest.starts_with("&#") && end != std::string_view::npos && end > 2
                               && std::ranges::all_of(rest.substr(2, end - 2),
                                                      [](char c) { return c >= '0' && c <= '9'; });
        if (!isNumeric
            && std::ranges::none_of(named, [&](auto name) { return rest.starts_with(name); }))
            return "bare '&' before '" + std::string(rest.substr(0, 20)) + "'";
    }
    return {};
}

} // namespace

std::string xmlProblem(std::string_view text)
{
    std::vector<std::string> open;
    std::set<std::string> ids;
    std::size_t position = 0;
    bool rootSeen = false;
    const auto skipBlanks = [&] {
        while (position < text.size()
               && std::isspace(static_cast<unsigned char>(text[position])) != 0)
            ++position;
    };
    const auto readName = [&] {
        const std::size_t begin = position;
        while (position < text.size() && isNameCharacter(text[position]))
            ++position;
        return std::string(text.substr(begin, position - begin));
    };
    const auto here = [&] { return " near '" + std::string(text.substr(position, 40)) + "'"; };

    if (text.starts_with("<!DOCTYPE html>"))
        position = std::string_view("<!DOCTYPE html>").size();
    while (position < text.size()) {
        const auto tag = text.find('<', position);
        const std::string_view between =
            text.substr(position, tag == std::string_view::npos ? tag : tag - position);
        if (const auto problem = entityProblem(between); !problem.empty())
            return problem;
        for (const char c : between) {
            const bool isBlank = std::isspace(static_cast<unsigned char>(c)) != 0;
            if (open.empty() && !isBlank)
                return "text outside the root" + here();
            if (static_cast<unsigned char>(c) < 0x20 && !isBlank)
                return "control character" + here();
        }
        if (tag == std::string_view::npos)
            break;
        position = tag + 1;
        if (text.substr(position).starts_with("/")) {
            ++position;
            const std::string name = readName();
            if (open.empty() || open.back() != name)
                return "</" + name + "> closes nothing" + here();
            open.pop_back();
            if (position >= text.size() || text[position] != '>')
                return "unfinished end tag" + here();
            ++position;
            continue;
        }
        const std::string name = readName();
        if (name.empty())
            return "bare '<'" + here();
        if (open.empty() && rootSeen)
            return "second root" + here();
        rootSeen = true;
        std::set<std::string> attributes;
        bool isEmptyElement = false;
        while (true) {
            skipBlanks();
            if (position >= text.size())
                return "unfinished <" + name;
            if (text[position] == '>' || text.substr(position).starts_with("/>")) {
                isEmptyElement = text[position] == '/';
                position += isEmptyElement ? 2 : 1;
                break;
            }
            const std::string attribute = readName();
            if (attribute.empty() || !attributes.insert(attribute).second)
                return "bad or repeated attribute" + here();
            if (!text.substr(position).starts_with("=\""))
                return "attribute without quotes" + here();
            position += 2;
            const auto end = text.find('"', position);
            if (end == std::string_view::npos)
                return "unfinished attribute" + here();
            const std::string_view value = text.substr(position, end - position);
            if (value.find('<') != std::string_view::npos)
                return "'<' in an attribute" + here();
            if (const auto problem = entityProblem(value); !problem.empty())
                return problem;
            if (attribute == "id" && !ids.insert(std::string(value)).second)
                return "id '" + std::string(value) + "' twice";
            position = end + 1;
        }
        if (!isEmptyElement)
            open.push_back(name);
    }
    if (!open.empty())
        return "<" + open.back() + "> is never closed";
    return rootSeen ? std::string() : "no element";
}

} // namespace saddletone::test
