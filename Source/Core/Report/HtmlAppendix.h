#pragma once

#include "Core/Report/ReportContent.h"

#include <string>

namespace saddletone::report {

/** What the two pages have no room for, as a document of its own, printed only where it is wanted:
    every state, remark, comparison and candidate, all settings, what remains audible figure by
    figure, blind runs with their conditions, sound files, and what the noise rests on. */
[[nodiscard]] std::string renderAppendix(const ReportContent& content);

} // namespace saddletone::report
