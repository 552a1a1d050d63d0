#pragma once

#include "Core/Report/ReportContent.h"

#include <string>

namespace saddletone::report {

/** The report as one HTML file that needs nothing else: no script, no image, no font, no network.
    It is also well-formed XML, and prints on three pages of A4 or Letter for up to three states and
    four candidates, with another behind them for the figures that the noise rests on. */
[[nodiscard]] std::string renderHtml(const ReportContent& content);

} // namespace saddletone::report
