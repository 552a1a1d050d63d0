#pragma once

#include <string>
#include <string_view>

namespace saddletone::test {

/** Checks that a text is one well-formed XML element, perhaps after a document type: tags nest and
    close, attributes are quoted and given once, ids are unique, text holds no bare '<' or '&', and
    entities are the five of XML or numeric. Returns what is wrong and where; empty = well-formed. */
[[nodiscard]] std::string xmlProblem(std::string_view text);

} // namespace saddletone::test
