#include "Core/Report/SvgPlot.h"

#include "Core/Files/TextTable.h"
#include "Core/Report/MarkupText.h"
#include "Core/Report/Wording.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>
#include <string_view>

namespace saddletone::report {

namespace {

using files::fixedText;

struct LineStyle {
    std::string_view colour;
    std::string_view dashes; ///< Empty = solid.
    double widthPx;
};

// Each at least 4.5:1 against white (WCAG 2.1, 1.4.3), told apart by dashes when the colour is lost.
constexpr std::array<LineStyle, 8> lineStyles {{{"#000000", "", 2.2},
                                                {"#0b5fa5", "9 4", 2.2},
                                                {"#b3420a", "2.5 3", 2.4},
                                                {"#00694f", "12 3 2.5 3", 2.2},
                                                {"#7d2f86", "18 5", 1.6},
                                                {"#665500", "5 2.5", 2.8},
                                                {"#444444", "12 3 2.5 3 2.5 3", 1.6},
                                                {"#a3195b", "1.5 5", 2.8}}};

constexpr double fontPx = 13.4; // 10 pt
constexpr double leftMarginPx = 38.0;
constexpr double rightMarginPx = 14.0;
constexpr double topMarginPx = 22.0;
constexpr double bottomMarginPx = 20.0;
constexpr double legendRowPx = 19.0;
constexpr double legendSamplePx = 34.0;
constexpr double legendGapPx = 12.0;

std::string px(double value)
{
    return fixedText(value, 1);
}

/** Width of text, generously: no font is known here. */
double textWidthPx(std::string_view text)
{
    // Bytes that continue a UTF-8 character take no room of their own.
    const auto numCharacters = std::ranges::count_if(
        text, [](char byte) { return (static_cast<unsigned char>(byte) & 0xC0U) != 0x80U; });
    return 0.56 * fontPx * static_cast<double>(numCharacters);
}

std::string shortenedTo(std::string text, double widthPx)
{
    if (textWidthPx(text) <= widthPx)
        return text;
    while (!text.empty() && textWidthPx(text) > widthPx - fontPx) {
        while (!text.empty() && (static_cast<unsigned char>(text.back()) & 0xC0U) == 0x80U)
            text.pop_back();
        if (!text.empty())
            text.pop_back();
    }
    return text + "\xE2\x80\xA6";
}

/** From frequency and level to the drawing. */
class Frame {
public:
    Frame(const SvgPlot& shownPlot, const LevelAxis& levelAxis) : plot(shownPlot), axis(levelAxis)
    {
    }

    [[nodiscard]] double left() const { return leftMarginPx; }
    [[nodiscard]] double right() const { return plot.widthPx - rightMarginPx; }
    [[nodiscard]] double top() const { return topMarginPx; }
    [[nodiscard]] double bottom() const { return plot.heightPx - bottomMarginPx; }

    [[nodiscard]] double x(double frequencyHz) const
    {
        const double position =
            std::log(frequencyHz / plot.fromHz) / std::log(plot.toHz / plot.fromHz);
        // One plot's width outside is as good as any distance, and keeps the numbers short.
        return left() + (right() - left()) * std::clamp(position, -1.0, 2.0);
    }
    [[nodiscard]] double y(double levelDb) const
    {
        const double position = (axis.topDb - levelDb) / (axis.topDb - axis.bottomDb);
        return top() + (bottom() - top()) * std::clamp(position, -1.0, 2.0);
    }

private:
    const SvgPlot& plot;
    const LevelAxis& axis;
};

bool isDrawable(const Curve& curve, std::size_t index)
{
    return std::isfinite(curve.levelsDb[index]) && std::isfinite(curve.frequenciesHz[index])
           && curve.frequenciesHz[index] > 0.0;
}

std::size_t numPoints(const Curve& curve)
{
    assert(curve.frequenciesHz.size() == curve.levelsDb.size());
    return std::min(curve.frequenciesHz.size(), curve.levelsDb.size());
}

/** Path along a curve, broken at gaps; closed down to the bottom for areas. */
std::string pathOf(const Curve& curve, const Frame& frame, bool closed)
{
    std::string path;
    std::size_t numInRun = 0;
    double lastX = 0.0;
    const auto endRun = [&] {
        if (numInRun > 0 && closed)
            path += "L" + px(lastX) + " " + px(frame.bottom()) + "Z";
        else if (numInRun == 1)
            path += "h0"; // with round caps: a dot
        numInRun = 0;
    };
    for (std::size_t index = 0; index < numPoints(curve); ++index) {
        if (!isDrawable(curve, index)) {
            endRun();
            continue;
        }
        lastX = frame.x(curve.frequenciesHz[index]);
        const std::string y = px(frame.y(curve.levelsDb[index]));
        if (numInRun == 0 && closed)
            path += "M" + px(lastX) + " " + px(frame.bottom()) + "L" + px(lastX) + " " + y;
        else
            path += (numInRun == 0 ? "M" : "L") + px(lastX) + " " + y;
        ++numInRun;
    }
    endRun();
    return path;
}

/** Level of a curve at a frequency between two drawable points. */
std::optional<double> levelAt(const Curve& curve, double frequencyHz)
{
    for (std::size_t index = 1; index < numPoints(curve); ++index) {
        const double lower = curve.frequenciesHz[index - 1];
        const double upper = curve.frequenciesHz[index];
        if (isDrawable(curve, index - 1) && isDrawable(curve, index) && lower <= frequencyHz
            && frequencyHz <= upper && lower < upper) {
            const double position = std::log(frequencyHz / lower) / std::log(upper / lower);
            return curve.levelsDb[index - 1]
                   + position * (curve.levelsDb[index] - curve.levelsDb[index - 1]);
        }
    }
    return std::nullopt;
}

std::string strokeOf(const LineStyle& style)
{
    std::string attributes = " fill=\"none\" stroke=\"" + std::string(style.colour)
                             + "\" stroke-width=\"" + px(style.widthPx)
                             + "\" stroke-linejoin=\"round\"";
    // Round caps would close the gaps of short dashes.
    attributes += style.dashes.empty() ? " stroke-linecap=\"round\""
                                       : " stroke-dasharray=\"" + std::string(style.dashes) + "\"";
    return attributes;
}

std::string textElement(double x, double y, std::string_view anchor, std::string_view text)
{
    return "<text x=\"" + px(x) + "\" y=\"" + px(y) + "\" text-anchor=\"" + std::string(anchor)
           + "\">" + escapeMarkup(text) + "</text>\n";
}

std::string straightLine(double x1, double y1, double x2, double y2, std::string_view colour)
{
    return "<path d=\"M" + px(x1) + " " + px(y1) + "L" + px(x2) + " " + px(y2) + "\" stroke=\""
           + std::string(colour) + "\" stroke-width=\"1\" fill=\"none\"/>\n";
}

constexpr std::string_view gridColour = "#d0d0d0";
constexpr std::string_view decadeColour = "#909090";

std::string gridOf(const SvgPlot& plot, const LevelAxis& axis, const Frame& frame)
{
    std::string svg;
    constexpr std::array labelledDigits {1, 2, 5};
    const auto decadeOf = [](double frequencyHz) {
        return static_cast<int>(std::floor(std::log10(frequencyHz)));
    };
    for (int decade = decadeOf(plot.fromHz); decade <= decadeOf(plot.toHz); ++decade)
        for (int digit = 1; digit <= 9; ++digit) {
            const double frequencyHz = digit * std::pow(10.0, decade);
            if (frequencyHz < plot.fromHz * 0.999 || frequencyHz > plot.toHz * 1.001)
                continue;
            const double x = frame.x(frequencyHz);
            svg += straightLine(x, frame.top(), x, frame.bottom(),
                                digit == 1 ? decadeColour : gridColour);
            if (std::ranges::find(labelledDigits, digit) != labelledDigits.end())
                svg += textElement(x, frame.bottom() + fontPx + 2.0, "middle",
                                   frequencyHz >= 999.0 ? fixedText(frequencyHz / 1000.0, 0) + "k"
                                                        : fixedText(frequencyHz, 0));
        }
    const auto numSteps = static_cast<int>(std::lround((axis.topDb - axis.bottomDb) / axis.stepDb));
    for (int step = 0; step <= numSteps; ++step) {
        const double levelDb = axis.bottomDb + step * axis.stepDb;
        const double y = frame.y(levelDb);
        svg += straightLine(frame.left(), y, frame.right(), y,
                            std::abs(levelDb) < 1e-9 ? decadeColour : gridColour);
        svg += textElement(frame.left() - 5.0, y + 0.35 * fontPx, "end", numberText(levelDb, 0));
    }
    return svg;
}

std::string hatchOf(const SvgPlot& plot, std::size_t area)
{
    // A second area leans the other way.
    const std::string_view turn = area % 2 == 0 ? "45" : "-45";
    return "<pattern id=\"" + escapeMarkup(plot.id) + "-hatch" + std::to_string(area)
           + "\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" "
             "patternTransform=\"rotate("
           + std::string(turn)
           + ")\"><rect width=\"6\" height=\"6\" fill=\"#f0f0f0\"/><path d=\"M0 0V6\" "
             "stroke=\"#8a8a8a\" stroke-width=\"2\"/></pattern>\n";
}

std::string fillOf(const SvgPlot& plot, std::size_t area)
{
    return " fill=\"url(#" + escapeMarkup(plot.id) + "-hatch" + std::to_string(area)
           + ")\" stroke=\"#666666\" stroke-width=\"1\"";
}

/** Marks on the lines, twice each, spread so that those of different curves do not stand over each
    other. */
std::string marksOf(const SvgPlot& plot, const LevelAxis& axis, const Frame& frame)
{
    std::string svg;
    constexpr std::array partStarts {0.06, 0.53};
    constexpr double partShare = 0.45;
    for (std::size_t line = 0; line < plot.lines.size(); ++line) {
        const Curve& curve = plot.lines[line];
        double firstHz = plot.toHz;
        double lastHz = plot.fromHz;
        for (std::size_t index = 0; index < numPoints(curve); ++index)
            if (isDrawable(curve, index)) {
                firstHz = std::min(firstHz, std::max(curve.frequenciesHz[index], plot.fromHz));
                lastHz = std::max(lastHz, std::min(curve.frequenciesHz[index], plot.toHz));
            }
        if (curve.mark.empty() || firstHz >= lastHz)
            continue;
        for (const double start : partStarts) {
            const double position =
                start
                + partShare * static_cast<double>(line) / static_cast<double>(plot.lines.size());
            const double frequencyHz = firstHz * std::pow(lastHz / firstHz, position);
            const auto levelDb = levelAt(curve, frequencyHz);
            if (!levelDb || *levelDb < axis.bottomDb || *levelDb > axis.topDb)
                continue;
            svg += "<text x=\"" + px(frame.x(frequencyHz)) + "\" y=\""
                   + px(frame.y(*levelDb) + 0.35 * fontPx)
                   + "\" text-anchor=\"middle\" font-weight=\"bold\" fill=\""
                   + std::string(lineStyles[line % lineStyles.size()].colour)
                   + "\" stroke=\"#ffffff\" stroke-width=\"5\" stroke-linejoin=\"round\" "
                     "paint-order=\"stroke\">"
                   + escapeMarkup(curve.mark) + "</text>\n";
        }
    }
    return svg;
}

struct LegendEntry {
    bool isArea = false;
    std::size_t index = 0;
    std::string text;
    double x = 0.0;
    std::size_t row = 0;
};

std::vector<LegendEntry> legendOf(const SvgPlot& plot)
{
    std::vector<LegendEntry> entries;
    for (std::size_t index = 0; index < plot.areas.size(); ++index)
        entries.push_back({.isArea = true, .index = index, .text = plot.areas[index].label});
    for (std::size_t index = 0; index < plot.lines.size(); ++index) {
        const Curve& curve = plot.lines[index];
        entries.push_back(
            {.isArea = false,
             .index = index,
             .text = curve.label.empty() ? curve.mark : marked(curve.mark, curve.label)});
    }
    double x = leftMarginPx;
    std::size_t row = 0;
    for (LegendEntry& entry : entries) {
        const double roomPx = plot.widthPx - leftMarginPx - rightMarginPx - legendSamplePx;
        entry.text = shortenedTo(std::move(entry.text), roomPx);
        const double widthPx = legendSamplePx + textWidthPx(entry.text);
        if (x > leftMarginPx && x + widthPx > plot.widthPx - rightMarginPx) {
            x = leftMarginPx;
            ++row;
        }
        entry.x = x;
        entry.row = row;
        x += widthPx + legendGapPx;
    }
    return entries;
}

std::string legendElement(const SvgPlot& plot, const LegendEntry& entry)
{
    const double middle = plot.heightPx + legendRowPx * (static_cast<double>(entry.row) + 0.5);
    std::string svg;
    if (entry.isArea)
        svg += "<rect x=\"" + px(entry.x) + "\" y=\"" + px(middle - 6.0)
               + "\" width=\"28\" height=\"12\"" + fillOf(plot, entry.index) + "/>\n";
    else
        svg += "<path d=\"M" + px(entry.x) + " " + px(middle) + "h28\""
               + strokeOf(lineStyles[entry.index % lineStyles.size()]) + "/>\n";
    return svg + textElement(entry.x + legendSamplePx, middle + 0.35 * fontPx, "start", entry.text);
}

} // namespace

LevelAxis levelAxisOf(const SvgPlot& plot)
{
    double lowest = std::numeric_limits<double>::infinity();
    double highest = -std::numeric_limits<double>::infinity();
    for (const auto* curves : {&plot.areas, &plot.lines})
        for (const Curve& curve : *curves)
            for (std::size_t index = 0; index < numPoints(curve); ++index) {
                const bool isShown = isDrawable(curve, index)
                                     && curve.frequenciesHz[index] >= plot.fromHz * 0.98
                                     && curve.frequenciesHz[index] <= plot.toHz * 1.02;
                // The ends of audio levels: beyond them nothing can be read off anyway.
                const double level = std::clamp(curve.levelsDb[index], -400.0, 400.0);
                if (isShown) {
                    lowest = std::min(lowest, level);
                    highest = std::max(highest, level);
                }
            }
    if (lowest > highest)
        return {};
    lowest = std::max(lowest, highest - plot.mostSpanDb);
    if (highest - lowest < plot.leastSpanDb) {
        const double middle = 0.5 * (highest + lowest);
        lowest = middle - 0.5 * plot.leastSpanDb;
        highest = middle + 0.5 * plot.leastSpanDb;
    }
    constexpr std::array roundSteps {1.0, 2.0, 5.0, 10.0, 20.0};
    constexpr double mostSteps = 7.0;
    LevelAxis axis;
    for (const double step : roundSteps) {
        axis.stepDb = step;
        axis.bottomDb = step * std::floor(lowest / step + 1e-9);
        axis.topDb = step * std::ceil(highest / step - 1e-9);
        if ((axis.topDb - axis.bottomDb) / step <= mostSteps)
            break;
    }
    return axis;
}

std::string renderSvg(const SvgPlot& plot)
{
    const LevelAxis axis = levelAxisOf(plot);
    const Frame frame(plot, axis);
    const auto legend = legendOf(plot);
    const double numRows = legend.empty() ? 0.0 : static_cast<double>(legend.back().row) + 1.0;
    const double totalHeightPx = plot.heightPx + numRows * legendRowPx + 3.0;
    const std::string id = escapeMarkup(plot.id);
    const std::string area = " x=\"" + px(frame.left()) + "\" y=\"" + px(frame.top())
                             + "\" width=\"" + px(frame.right() - frame.left()) + "\" height=\""
                             + px(frame.bottom() - frame.top()) + "\"";

    std::string svg =
        "<svg role=\"img\" aria-labelledby=\"" + id + "-title " + id + "-desc\" viewBox=\"0 0 "
        + px(plot.widthPx) + " " + px(totalHeightPx) + "\" width=\"" + px(plot.widthPx)
        + "\" height=\"" + px(totalHeightPx) + "\" font-size=\"" + px(fontPx)
        + "\" font-family=\"Arial, Helvetica, Liberation Sans, sans-serif\" fill=\"#1a1a1a\">\n";
    svg += "<title id=\"" + id + "-title\">" + escapeMarkup(plot.title) + "</title>\n";
    svg += "<desc id=\"" + id + "-desc\">" + escapeMarkup(plot.description) + "</desc>\n";
    svg += "<defs><clipPath id=\"" + id + "-clip\"><rect" + area + "/></clipPath>\n";
    for (std::size_t index = 0; index < plot.areas.size(); ++index)
        svg += hatchOf(plot, index);
    svg += "</defs>\n";
    svg += textElement(frame.left(), topMarginPx - 8.0, "start", plot.axisText);

    svg += "<g clip-path=\"url(#" + id + "-clip)\">\n";
    for (std::size_t index = 0; index < plot.areas.size(); ++index)
        svg += "<path d=\"" + pathOf(plot.areas[index], frame, true) + "\"" + fillOf(plot, index)
               + "/>\n";
    svg += "</g>\n";
    svg += gridOf(plot, axis, frame);
    svg += "<g clip-path=\"url(#" + id + "-clip)\">\n";
    for (std::size_t line = 0; line < plot.lines.size(); ++line)
        svg += "<path d=\"" + pathOf(plot.lines[line], frame, false) + "\""
               + strokeOf(lineStyles[line % lineStyles.size()]) + "/>\n";
    svg += marksOf(plot, axis, frame);
    svg += "</g>\n";
    svg += "<rect" + area + " fill=\"none\" stroke=\"#1a1a1a\" stroke-width=\"1\"/>\n";
    for (const LegendEntry& entry : legend)
        svg += legendElement(plot, entry);
    return svg + "</svg>\n";
}

} // namespace saddletone::report
