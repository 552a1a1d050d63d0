#pragma once

#include "Core/Report/ReportContent.h"

#include <string>
#include <string_view>
#include <vector>

namespace saddletone::report {

// What the pages of a report are put together from. Arguments called text are escaped here; those
// called html are markup already.

inline constexpr double fullWidthPx = 700.0; // A4 less 12 mm on either side: 703 px
inline constexpr double halfWidthPx = 344.0;

[[nodiscard]] std::string element(std::string_view tag, std::string_view text);
[[nodiscard]] std::string classElement(std::string_view tag, std::string_view className,
                                       std::string_view text);
[[nodiscard]] std::string listOf(const std::vector<std::string>& items);

/** A section with a heading that never parts from what follows at the end of a page. */
[[nodiscard]] std::string sectionOf(std::string_view id, std::string_view heading,
                                    std::string_view html);

[[nodiscard]] std::string columnHead(std::string_view text);
[[nodiscard]] std::string rowHead(std::string_view text);
[[nodiscard]] std::string cell(std::string_view text);
/** A cell whose words stay on one line: figures with their units. */
[[nodiscard]] std::string figureCell(std::string_view text);
/** A table that scrolls by itself on a narrow screen. */
[[nodiscard]] std::string tableOf(std::string_view headHtml, std::string_view rowsHtml,
                                  std::string_view className = {});

[[nodiscard]] std::string figureOf(const SvgPlot& plot, std::string_view caption);

/** "78.2 dB(A)". */
[[nodiscard]] std::string dba(double level);

/** Title, bike, shop, date and the banner of invented data; what names the document stands in
    front of the title. */
[[nodiscard]] std::string headerOf(const ReportContent& content, std::string_view document);

/** What is typed in to make a tuning: a table for each group. */
[[nodiscard]] std::string settingsTables(const tuning::Tuning& tuning);
/** The lines that settingsTables() takes, side by side. */
[[nodiscard]] std::size_t numSettingsLines(const tuning::Tuning& tuning);
/** What the signs and figures of the tables mean. */
[[nodiscard]] std::string settingsNote();

/** A whole document: no script, no image, no font, no network. It is also well-formed XML. */
[[nodiscard]] std::string documentOf(const ReportContent& content, std::string_view title,
                                     std::string_view bodyHtml);

} // namespace saddletone::report
