#pragma once

#include <string>
#include <string_view>

namespace saddletone::report {

/** Text for HTML or XML, between tags and inside quoted attributes: the five special characters
    become entities, what XML 1.0 forbids (clause 2.2: most control characters) is left out, and
    bytes that are not UTF-8 become U+FFFD. The only way text enters a report. */
[[nodiscard]] std::string escapeMarkup(std::string_view text);

} // namespace saddletone::report
