#include "Core/Report/SvgPlot.h"
#include "Support/WellFormedXml.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <limits>
#include <regex>
#include <string>
#include <vector>

using namespace saddletone;
using report::Curve;
using report::LevelAxis;
using report::SvgPlot;

namespace {

constexpr double notANumber = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

SvgPlot plotOf(std::vector<Curve> lines)
{
    SvgPlot plot;
    plot.id = "plot";
    plot.title = "Title";
    plot.description = "Description";
    plot.lines = std::move(lines);
    return plot;
}

/** The path data of the curves, in the order of drawing. */
std::vector<std::string> curvePaths(const std::string& svg)
{
    // Grid lines and legend samples carry no line join.
    const std::regex pattern("<path d=\"([^\"]*)\"[^>]*stroke-linejoin");
    std::vector<std::string> paths;
    const auto legendBegins = svg.rfind("</g>");
    const std::string body = svg.substr(0, legendBegins);
    for (std::sregex_iterator match(body.begin(), body.end(), pattern), end; match != end; ++match)
        paths.push_back((*match)[1]);
    return paths;
}

} // namespace

TEST_CASE("A level axis has round steps and covers the curves", "[core][report]")
{
    const SvgPlot plot = plotOf({{"a", "A", {100.0, 1000.0}, {-13.2, 7.1}}});
    CHECK(report::levelAxisOf(plot) == LevelAxis {.bottomDb = -15.0, .topDb = 10.0, .stepDb = 5.0});
    const SvgPlot flat = plotOf({{"a", "A", {100.0, 1000.0}, {0.1, -0.1}}});
    CHECK(report::levelAxisOf(flat) == LevelAxis {.bottomDb = -10.0, .topDb = 10.0, .stepDb = 5.0});
    const SvgPlot wide = plotOf({{"a", "A", {100.0, 1000.0}, {-400.0, 100.0}}});
    CHECK(report::levelAxisOf(wide)
          == LevelAxis {.bottomDb = 40.0, .topDb = 100.0, .stepDb = 10.0});
}

TEST_CASE("A level axis looks only at what is drawn", "[core][report]")
{
    const SvgPlot plot = plotOf(
        {{"a", "A", {5.0, 100.0, 500.0, 1000.0, 60000.0}, {90.0, -9.0, infinity, 9.0, -90.0}}});
    CHECK(report::levelAxisOf(plot) == LevelAxis {.bottomDb = -10.0, .topDb = 10.0, .stepDb = 5.0});
    CHECK(report::levelAxisOf(plotOf({})) == LevelAxis {});
    CHECK(report::levelAxisOf(plotOf({{"a", "A", {100.0}, {notANumber}}})) == LevelAxis {});
}

TEST_CASE("Points stand where the logarithm of their frequency puts them", "[core][report]")
{
    // 700 px wide with margins of 38 and 14: 648 px for three decades, so 216 px a decade.
    const std::string svg = report::renderSvg(
        plotOf({{"a", "", {20.0, 200.0, 2000.0, 20000.0}, {10.0, 0.0, -10.0, 0.0}}}));
    // 240 px high with margins of 22 and 20: 198 px for 20 dB.
    REQUIRE(curvePaths(svg).size() == 1);
    CHECK(curvePaths(svg)[0] == "M38.0 22.0L254.0 121.0L470.0 220.0L686.0 121.0");
}

TEST_CASE("Values that are not finite break a line and never reach the drawing", "[core][report]")
{
    const std::string svg =
        report::renderSvg(plotOf({{"a",
                                   "A",
                                   {20.0, 200.0, 500.0, 2000.0, 5000.0, 20000.0, -1.0, notANumber},
                                   {0.0, 0.0, notANumber, 0.0, infinity, -infinity, 0.0, 0.0}}}));
    CHECK(test::xmlProblem(svg) == "");
    CHECK(svg.find("nan") == std::string::npos);
    CHECK(svg.find("inf") == std::string::npos);
    REQUIRE(curvePaths(svg).size() == 1);
    CHECK(curvePaths(svg)[0] == "M38.0 121.0L254.0 121.0M470.0 121.0h0");
}

TEST_CASE("An area reaches the bottom on both sides of a gap", "[core][report]")
{
    SvgPlot plot = plotOf({});
    plot.areas.push_back(
        {"noise", "", {20.0, 200.0, 500.0, 2000.0, 20000.0}, {0.0, 0.0, notANumber, 0.0, 0.0}});
    const std::string svg = report::renderSvg(plot);
    CHECK(test::xmlProblem(svg) == "");
    CHECK(svg.find("M38.0 220.0L38.0 121.0L254.0 121.0L254.0 220.0ZM470.0 220.0L470.0 121.0L686.0 "
                   "121.0L686.0 220.0Z")
          != std::string::npos);
    CHECK(svg.find("fill=\"url(#plot-hatch0)\"") != std::string::npos);
    CHECK(svg.find("<pattern id=\"plot-hatch0\"") != std::string::npos);
}

TEST_CASE("Far values are cut off at the plot", "[core][report]")
{
    const std::string svg = report::renderSvg(
        plotOf({{"a", "A", {1e-300, 100.0, 1000.0, 1e300}, {1e300, 5.0, -5.0, -1e300}}}));
    CHECK(test::xmlProblem(svg) == "");
    CHECK(svg.find("clip-path=\"url(#plot-clip)\"") != std::string::npos);
    const std::regex number("[0-9]{6,}");
    CHECK(!std::regex_search(curvePaths(svg)[0], number));
}

TEST_CASE("Eight curves differ in dash or width even without their colours", "[core][report]")
{
    std::vector<Curve> lines;
    for (int index = 0; index < 8; ++index)
        lines.push_back({"curve",
                         std::to_string(index + 1),
                         {100.0, 1000.0},
                         {0.0, static_cast<double>(index)}});
    const std::string svg = report::renderSvg(plotOf(lines));
    CHECK(test::xmlProblem(svg) == "");
    const std::regex pattern(
        "stroke=\"(#[0-9a-f]{6})\"[^>]*stroke-linejoin=\"round\"( stroke-dasharray=\"[^\"]*\")?");
    std::vector<std::string> dashes;
    std::vector<std::string> colours;
    const std::string body = svg.substr(0, svg.rfind("</g>"));
    for (std::sregex_iterator match(body.begin(), body.end(), pattern), end; match != end;
         ++match) {
        if ((*match)[0].str().find("paint-order") != std::string::npos)
            continue;
        if ((*match)[1] == "#ffffff")
            continue;
        colours.push_back((*match)[1]);
        dashes.push_back((*match)[2]);
    }
    REQUIRE(dashes.size() == 8);
    for (std::size_t one = 0; one < 8; ++one)
        for (std::size_t other = 0; other < one; ++other) {
            CHECK(dashes[one] != dashes[other]);
            CHECK(colours[one] != colours[other]);
        }
    for (int index = 0; index < 8; ++index)
        CHECK(svg.find(">" + std::to_string(index + 1) + "</text>") != std::string::npos);
}

TEST_CASE("A plot tells those who do not see it what it shows", "[core][report]")
{
    SvgPlot plot = plotOf({{"<b>\"x\"&", "<", {100.0, 1000.0}, {0.0, 1.0}}});
    plot.title = "A < B & C";
    plot.description = "\"quoted\"";
    const std::string svg = report::renderSvg(plot);
    CHECK(test::xmlProblem(svg) == "");
    CHECK(svg.find("role=\"img\" aria-labelledby=\"plot-title plot-desc\"") != std::string::npos);
    CHECK(svg.find("<title id=\"plot-title\">A &lt; B &amp; C</title>") != std::string::npos);
    CHECK(svg.find("<desc id=\"plot-desc\">&quot;quoted&quot;</desc>") != std::string::npos);
    CHECK(svg.find("&lt;b&gt;&quot;x&quot;&amp;") != std::string::npos);
}

TEST_CASE("The frequency axis is labelled 1, 2, 5 from 20 Hz to 20 kHz", "[core][report]")
{
    const std::string svg = report::renderSvg(plotOf({}));
    for (const std::string label :
         {"20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"})
        CHECK(svg.find(">" + label + "</text>") != std::string::npos);
    CHECK(svg.find(">30</text>") == std::string::npos);
}

TEST_CASE("A long label is shortened between characters", "[core][report]")
{
    std::string label;
    for (int index = 0; index < 200; ++index)
        label += "\xC3\xA9"; // é
    const std::string svg = report::renderSvg(plotOf({{label, "A", {100.0, 1000.0}, {0.0, 1.0}}}));
    CHECK(test::xmlProblem(svg) == "");
    CHECK(svg.find("\xC3\xA9\xE2\x80\xA6</text>") != std::string::npos);
    CHECK(svg.find("\xEF\xBF\xBD") == std::string::npos);
}
