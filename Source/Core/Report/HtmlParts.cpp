#include "Core/Report/HtmlParts.h"

#include "Core/Report/MarkupText.h"
#include "Core/Report/Wording.h"
#include "Core/Tuning/SettingsTable.h"

#include <algorithm>
#include <array>

namespace saddletone::report {

namespace {

// Heights are kept by cutting, not by hiding: a line that is cut ends in an ellipsis, and the
// appendix has it whole.
constexpr std::string_view styleSheet = R"(
@page { margin: 10mm 12mm 9mm; }
* { box-sizing: border-box; }
html { background: #e9e9e6; }
body { margin: 0 auto; padding: 1.2rem 1.4rem 2rem; max-width: 750px; background: #ffffff; color: #1a1a1a;
  font: 15px/1.38 Arial, Helvetica, "Liberation Sans", sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .2rem; }
h2 { font-size: 1.08rem; line-height: 1.2; margin: 1.1rem 0 .3rem; border-bottom: 2px solid #1a1a1a; padding-bottom: .1rem; }
h3 { font-size: 1rem; margin: .6rem 0 .2rem; }
p { margin: .25rem 0; }
ul { margin: .2rem 0; padding-left: 1.15rem; }
li { margin: .08rem 0; }
.question { font-size: 1.08rem; font-weight: 600; }
.about { margin: .1rem 0 .4rem; }
.about span { margin-right: 1.1rem; }
.invented { margin: 0 0 .7rem; padding: .3rem .6rem; border: 3px double #8a1c00; color: #8a1c00; font-weight: 700; text-align: center; }
.verdict { border-left: 5px solid #1a1a1a; padding-left: .6rem; font-weight: 600; }
.note { color: #404040; font-weight: 400; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; margin: .3rem 0; }
caption { text-align: left; font-weight: 600; }
th, td { text-align: left; vertical-align: top; padding: .16rem .45rem .16rem 0; border-bottom: 1px solid #b0b0b0; }
td { overflow-wrap: normal; }
.nowrap { white-space: nowrap; }
thead th { border-bottom: 1.5px solid #1a1a1a; vertical-align: bottom; }
thead th.group { border-bottom: 1px solid #b0b0b0; }
.figures { font-size: .8em; }
#measured th:first-child { width: 22%; }
#measured thead th:nth-child(3) { width: 21%; }
#measured thead th:last-child { width: 19%; }
#road th.name { width: 23%; }
#road th.even { width: 18%; }
#road th.level { width: 13%; }
#road th.need { width: 13%; }
figure { margin: .4rem 0; }
figcaption { color: #404040; }
svg { display: block; max-width: 100%; height: auto; }
.pair { display: flex; flex-wrap: wrap; gap: 0 12px; }
.pair > * { flex: 1 1 330px; min-width: 0; }
.page + .page { margin-top: 1.6rem; }
h2, h3, thead, caption { break-after: avoid; }
figure, tr, li, .verdict, .keep { break-inside: avoid; }
@media screen {
  figure { overflow-x: auto; }
  .scroll table { min-width: 600px; }
  .pair .scroll table { min-width: 0; }
  #curves svg { min-width: 560px; }
}
@media print {
  html { background: none; }
  body { padding: 0; max-width: none; font-size: 10pt; line-height: 1.2; }
  h1 { font-size: 15pt; } h2 { font-size: 11.5pt; margin: 5pt 0 2pt; } h3 { font-size: 10pt; margin: 3pt 0 1pt; }
  .question { font-size: 11pt; }
  p, ul { margin: 1.5pt 0; orphans: 2; widows: 2; } li { margin: 0; } figure { margin: 2pt 0; } table { margin: 2pt 0; }
  th, td { padding-top: .8pt; padding-bottom: .8pt; }
  .scroll { overflow: visible; }
  .invented { margin-bottom: 3pt; padding: 1pt; }
  .page + .page { break-before: page; margin-top: 0; }
  .page { font-size: 9pt; }
  .page + .page { font-size: 8.5pt; line-height: 1.12; }
  .page + .page h2 { margin-top: 3pt; }
  .page .lines-1, .page .lines-2, .page .lines-3, .page .lines-4, .page .lines-5 {
    display: -webkit-box; -webkit-box-orient: vertical; overflow: hidden; }
  .page .lines-1 { -webkit-line-clamp: 1; } .page .lines-2 { -webkit-line-clamp: 2; }
  .page .lines-3 { -webkit-line-clamp: 3; } .page .lines-4 { -webkit-line-clamp: 4; }
  .page .lines-5 { -webkit-line-clamp: 5; }
  .page table.fixed { table-layout: fixed; }
  .page table.fixed tbody th, .page table.fixed tbody td { white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }
}
)";

/** Filters of a group; more of them stand in two tables side by side. */
constexpr std::size_t mostInOneColumn = 3;

std::string tagged(std::string_view opening, std::string_view closing, std::string_view text)
{
    return std::string(opening) + escapeMarkup(text) + std::string(closing);
}

/** What a group sets beside its filters. */
std::string restWords(const tuning::GroupSettings& settings)
{
    std::string words = "Overall gain " + signedText(settings.gainDb, 1) + " dB; delay "
                        + numberText(settings.delayMs, 2) + " ms; polarity "
                        + (settings.isInverted ? "inverted" : "normal");
    for (const tuning::Element& limiter : settings.limiters)
        words += "; " + elementWords(limiter);
    return words + ".";
}

/** Rows of a group's filters: a graphic only with the bands that are moved. */
std::vector<tuning::Element> filterRows(const tuning::GroupSettings& settings)
{
    std::vector<tuning::Element> rows;
    for (const tuning::Element& filter : settings.filters)
        for (const tuning::Element& row : tuning::rowsOf(filter))
            if (row.type != tuning::ElementType::graphic || row.gainDb != 0.0)
                rows.push_back(row);
    return rows;
}

std::string dashIfEmpty(const std::string& text)
{
    return text.empty() ? "\xE2\x80\x93" : text;
}

/** Order and alignment of a pass, slope of a shelf that has one instead of Q. */
std::string shapeWords(const tuning::FilterRow& row)
{
    std::string words = row.alignment;
    if (!row.order.empty())
        words += (words.empty() ? "order " : ", order ") + row.order;
    if (!row.slope.empty())
        words += "slope " + row.slope;
    return dashIfEmpty(words);
}

std::string filterTable(const std::vector<tuning::Element>& rows, std::size_t from, std::size_t to)
{
    std::string html;
    for (std::size_t index = from; index < to; ++index) {
        const tuning::FilterRow row = tuning::filterRow(rows[index], 1);
        html += "<tr>" + rowHead(std::to_string(index + 1))
                + cell(tuning::typeHeading(rows[index].type))
                + figureCell(dashIfEmpty(row.frequencyHz)) + figureCell(dashIfEmpty(row.gainDb))
                + figureCell(dashIfEmpty(row.q)) + cell(shapeWords(row)) + "</tr>\n";
    }
    return tableOf(columnHead("No.") + columnHead("Filter") + columnHead("Hz") + columnHead("dB")
                       + columnHead("Q") + columnHead("Shape"),
                   html);
}

} // namespace

std::string element(std::string_view tag, std::string_view text)
{
    return "<" + std::string(tag) + ">" + escapeMarkup(text) + "</" + std::string(tag) + ">\n";
}

std::string classElement(std::string_view tag, std::string_view className, std::string_view text)
{
    return "<" + std::string(tag) + " class=\"" + std::string(className) + "\">"
           + escapeMarkup(text) + "</" + std::string(tag) + ">\n";
}

std::string listOf(const std::vector<std::string>& items)
{
    if (items.empty())
        return {};
    std::string html = "<ul>\n";
    for (const std::string& item : items)
        html += element("li", item);
    return html + "</ul>\n";
}

std::string sectionOf(std::string_view id, std::string_view heading, std::string_view html)
{
    const std::string name(id);
    return "<section id=\"" + name + "\" aria-labelledby=\"" + name + "-heading\">\n<h2 id=\""
           + name + "-heading\">" + escapeMarkup(heading) + "</h2>\n" + std::string(html)
           + "</section>\n";
}

std::string columnHead(std::string_view text)
{
    return tagged("<th scope=\"col\">", "</th>", text);
}

std::string rowHead(std::string_view text)
{
    return tagged("<th scope=\"row\">", "</th>", text);
}

std::string cell(std::string_view text)
{
    return tagged("<td>", "</td>", text);
}

std::string figureCell(std::string_view text)
{
    return tagged("<td class=\"nowrap\">", "</td>", text);
}

std::string tableOf(std::string_view headHtml, std::string_view rowsHtml,
                    std::string_view className)
{
    const std::string opening = className.empty()
                                    ? std::string("<table>")
                                    : "<table class=\"" + std::string(className) + "\">";
    const bool hasRow = headHtml.starts_with("<tr");
    return "<div class=\"scroll\">" + opening + "\n<thead>" + (hasRow ? "" : "<tr>")
           + std::string(headHtml) + (hasRow ? "" : "</tr>") + "</thead>\n<tbody>\n"
           + std::string(rowsHtml) + "</tbody></table></div>\n";
}

std::string figureOf(const SvgPlot& plot, std::string_view caption)
{
    return "<figure>\n" + renderSvg(plot) + element("figcaption", caption) + "</figure>\n";
}

std::string dba(double level)
{
    return numberText(level, 1) + " dB(A)";
}

std::string headerOf(const ReportContent& content, std::string_view document)
{
    std::string html = "<header>\n";
    if (content.invented)
        html +=
            classElement("p", "invented lines-1",
                         "INVENTED DEMO DATA \xE2\x80\x93 no bike was measured for this report");
    html += classElement("h1", "lines-2", std::string(document) + content.title);
    html += "<p class=\"about lines-2\">";
    const auto fact = [&](std::string_view name, const std::string& value) {
        if (!value.empty())
            html += "<span><strong>" + escapeMarkup(name) + "</strong> " + escapeMarkup(value)
                    + "</span>\n";
    };
    fact("Date", content.dateText);
    fact("Bike", content.bike);
    fact("Shop", content.shop);
    html += "</p>\n" + classElement("p", "question lines-3", content.question) + "</header>\n";
    return html;
}

std::string settingsTables(const tuning::Tuning& tuning)
{
    std::string html;
    for (const tuning::GroupSettings& settings : tuning::settingsByGroup(tuning)) {
        const std::vector<tuning::Element> rows = filterRows(settings);
        html += "<div class=\"keep\">\n"
                + classElement("h3", "lines-1", tuning::groupHeading(settings.group));
        if (rows.size() > mostInOneColumn) {
            const std::size_t half = (rows.size() + 1) / 2;
            html += "<div class=\"pair\">\n" + filterTable(rows, 0, half)
                    + filterTable(rows, half, rows.size()) + "</div>\n";
        } else if (!rows.empty()) {
            html += filterTable(rows, 0, rows.size());
        }
        html +=
            element("p", (rows.empty() ? "No filters. " : "") + restWords(settings)) + "</div>\n";
    }
    return html;
}

std::size_t numSettingsLines(const tuning::Tuning& tuning)
{
    constexpr std::size_t linesOfGroup = 3; // heading, head of the table, what stands below
    std::size_t numLines = 0;
    for (const tuning::GroupSettings& settings : tuning::settingsByGroup(tuning)) {
        const std::size_t numRows = filterRows(settings).size();
        numLines += linesOfGroup + settings.limiters.size()
                    + (numRows > mostInOneColumn ? (numRows + 1) / 2 : numRows);
    }
    return numLines;
}

std::string settingsNote()
{
    return "A positive gain is a boost. Q of a bell: its frequency over its width between the "
           "points of half its gain in dB. A shelf's frequency: where half its gain is reached.";
}

std::string documentOf(const ReportContent& content, std::string_view title,
                       std::string_view bodyHtml)
{
    std::string html =
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n";
    html += element("title",
                    std::string(title) + (content.title.empty() ? content.bike : content.title));
    return html + "<style>" + std::string(styleSheet) + "</style>\n</head>\n<body>\n"
           + std::string(bodyHtml) + "</body>\n</html>\n";
}

} // namespace saddletone::report
