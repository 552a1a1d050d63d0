#pragma once

#include "Core/Report/ReportContent.h"

#include <string>

namespace saddletone::report {

/** The customer's report as one HTML file that needs nothing else: no script, no image, no font, no
    network. It is also well-formed XML. It prints on two pages of A4 or Letter, whatever the job
    holds: names that are too long are cut on the page, and lists that are too long say how much more
    the appendix has. Settings are shown whole or not at all. */
[[nodiscard]] std::string renderHtml(const ReportContent& content);

} // namespace saddletone::report
