#include "Core/Report/CurveTable.h"
#include "Core/Report/HtmlAppendix.h"
#include "Core/Report/HtmlReport.h"
#include "Support/WellFormedXml.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <limits>
#include <string>

using namespace saddletone;
using report::ReportContent;

namespace {

constexpr double notANumber = std::numeric_limits<double>::quiet_NaN();

bool holds(const std::string& text, const std::string& part)
{
    return text.find(part) != std::string::npos;
}

ReportContent hostileContent()
{
    const std::string hostile = "<script>alert(1)</script>\"'&\x01\xFF";
    const report::Curve curve {hostile, hostile, {20.0, 100.0, 1000.0}, {notANumber, 1e300, 0.0}};
    ReportContent content;
    content.title = content.question = content.shop = content.bike = content.dateText = hostile;
    report::ReportState state;
    state.name = hostile;
    state.conditions = {hostile, measure::EngineState::running, 30.0, hostile, hostile};
    state.snrDb = state.clockPpm = notANumber;
    state.evenness = {
        .rmsDb = notANumber, .largestDb = notANumber, .largestAtHz = notANumber, .numBands = 1};
    state.curve = curve;
    content.states = {state, state};
    content.states[1].conditions.volumeStep = "other";
    report::ReportComparison comparison;
    comparison.parkedName = comparison.otherName = hostile;
    comparison.comparison.bands = {
        {.frequencyHz = 100.0, .differenceDb = notANumber, .trusted = true}};
    comparison.levelDifferenceDb = notANumber;
    comparison.notes = {hostile};
    content.comparisons = {comparison};
    content.comparisonNotes = content.remarks = content.cautions = content.measured =
        content.estimated = {hostile};
    report::ReportCandidate candidate;
    candidate.name = candidate.stateMark = candidate.settings = hostile;
    candidate.largestBoostDb = 6.0;
    candidate.curve = candidate.octaveLevels = curve;
    candidate.programmeSplDba = {notANumber, 80.0};
    candidate.audibility = {
        std::nullopt, report::ReportAudibility {.shareOfScale = notANumber, .gainNeededDb = {}}};
    candidate.radioProfile = hostile;
    candidate.tuning = {
        hostile,
        {{tuning::OutputGroup::all,
          {{.type = tuning::ElementType::peaking, .gainDb = 6.0, .label = hostile}}}}};
    content.candidates = {candidate};
    content.proposal = 0;
    report::ReportCost cost;
    cost.speakerName = hostile;
    cost.cost.after.peakExcursionMm = notANumber;
    cost.sentences = {hostile};
    content.cost = cost;
    content.need = hostile;
    content.needDetails = {hostile};
    content.blindRuns = {{hostile, hostile, hostile, hostile, false}};
    content.blindNotes = {hostile};
    content.exposureWords = hostile;
    content.noiseFigures = {{hostile, hostile, dsp::FigureStatus::judgement, hostile}};
    content.appendixFile = content.curvesFile = hostile;
    content.rides = {{0.0, std::nullopt, {}}, {100.0, notANumber, curve}};
    content.auditionFiles = {{hostile, hostile, notANumber}};
    return content;
}

} // namespace

TEST_CASE("No content breaks out of the report's markup", "[core][report]")
{
    for (const std::string& html :
         {report::renderHtml(hostileContent()), report::renderAppendix(hostileContent())}) {
        CHECK(test::xmlProblem(html) == "");
        CHECK(!holds(html, "<script"));
        CHECK(holds(html, "&lt;script&gt;alert(1)&lt;/script&gt;&quot;&#39;&amp;\xEF\xBF\xBD"));
    }
}

TEST_CASE("Missing numbers show as a dash", "[core][report]")
{
    for (const std::string& html :
         {report::renderHtml(hostileContent()), report::renderAppendix(hostileContent())}) {
        CHECK(!holds(html, "nan"));
        CHECK(!holds(html, "inf"));
        CHECK(holds(html, "\xE2\x80\x93 dB"));
    }
}

TEST_CASE("A report needs nothing from outside", "[core][report]")
{
    for (const std::string& html :
         {report::renderHtml(hostileContent()), report::renderAppendix(hostileContent())}) {
        for (const std::string part : {"http", "src=", "href=", "@import", "<link", "<iframe",
                                       "<object", "javascript", "<?"})
            CHECK(!holds(html, part));
        // Every url() stays within the document.
        for (auto found = html.find("url("); found != std::string::npos;
             found = html.find("url(", found + 1))
            CHECK(html[found + 4] == '#');
        CHECK(html.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
        CHECK(holds(html, "<meta charset=\"utf-8\"/>"));
    }
}

TEST_CASE("An empty report is still a whole document", "[core][report]")
{
    const std::string html = report::renderHtml({});
    CHECK(test::xmlProblem(html) == "");
    CHECK(test::xmlProblem(report::renderAppendix({})) == "");
    CHECK(holds(html, "No candidates have been set up"));
    CHECK(!holds(html, "What remains audible"));
}

TEST_CASE("The banner stands on invented data and nowhere else", "[core][report]")
{
    ReportContent content;
    CHECK(!holds(report::renderHtml(content), "INVENTED"));
    content.invented = true;
    CHECK(holds(report::renderHtml(content), "INVENTED DEMO DATA"));
}

TEST_CASE("The octaves in which music stands above the noise are named", "[core][report]")
{
    ReportContent content;
    report::ReportCandidate candidate;
    candidate.name = "Candidate";
    candidate.programmeSplDba = {80.0};
    candidate.octaveLevels.frequenciesHz = {63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0};
    candidate.octaveLevels.levelsDb = {70.0, 90.0, 70.0, 70.0, 80.0, 85.0, 80.0};
    candidate.audibility = {report::ReportAudibility {.shareOfScale = 0.4, .gainNeededDb = {}}};
    content.candidates = {candidate};
    content.rides = {{100.0,
                      92.0,
                      {"wind",
                       "",
                       candidate.octaveLevels.frequenciesHz,
                       {90.0, 85.0, 80.0, 75.0, 80.0, 75.0, 60.0}}}};
    CHECK(holds(report::renderAppendix(content), "<td>125 Hz, 1 kHz to 4 kHz</td>"));
    CHECK(holds(report::renderAppendix(content), "12.0 dB below"));
    CHECK(holds(report::renderHtml(content), "<td>\xE2\x88\x92"
                                             "12.0</td><td>40 %</td>"));
    CHECK(holds(report::renderHtml(content), "92.0 dB(A)"));
    content.rides.back().noiseOctaveLevels.levelsDb.assign(7, 120.0);
    CHECK(holds(report::renderAppendix(content), "<td>none</td>"));
}

TEST_CASE("Settings stand on the page whole or not at all", "[core][report]")
{
    ReportContent content;
    content.appendixFile = "job.appendix.html";
    report::ReportCandidate candidate;
    candidate.name = "Candidate";
    candidate.tuning.chains = {{tuning::OutputGroup::left, {}}};
    auto& elements = candidate.tuning.chains.front().elements;
    elements.push_back(
        {.type = tuning::ElementType::lowShelf, .frequencyHz = 123.4, .gainDb = -4.5, .q = 0.7071});
    elements.push_back({.type = tuning::ElementType::delay, .delayMs = 1.25});
    content.candidates = {candidate};
    content.proposal = 0;
    std::string html = report::renderHtml(content);
    CHECK(holds(html, "Left speakers"));
    CHECK(holds(html, "<td class=\"nowrap\">123.4</td><td class=\"nowrap\">-4.5</td>"
                      "<td class=\"nowrap\">0.71</td>"));
    CHECK(holds(html, "delay 1.25 ms"));

    auto& many = content.candidates.front().tuning.chains.front().elements;
    many.insert(many.end(), 30, {.type = tuning::ElementType::notch, .frequencyHz = 432.1});
    html = report::renderHtml(content);
    CHECK(!holds(html, "123.4"));
    CHECK(!holds(html, "432.1"));
    CHECK(holds(html, "They stand whole in job.appendix.html."));
    CHECK(holds(report::renderAppendix(content), "432.1"));
    CHECK(holds(report::renderAppendix(content), "delay 1.25 ms"));
}

TEST_CASE("A graphic is typed in by the bands that are moved", "[core][report]")
{
    ReportContent content;
    report::ReportCandidate candidate;
    tuning::Element graphic {.type = tuning::ElementType::graphic};
    graphic.bandGainsDb[6] = 2.0; // 80 Hz
    candidate.tuning.chains = {{tuning::OutputGroup::all, {graphic}}};
    content.candidates = {candidate};
    content.proposal = 0;
    const std::string html = report::renderHtml(content);
    CHECK(holds(html, "<td>Graphic band</td><td class=\"nowrap\">79.4</td>"));
    CHECK(!holds(html, "<td class=\"nowrap\">+0.0</td>"));
}

TEST_CASE("Long lists say how much more there is", "[core][report]")
{
    ReportContent content;
    content.appendixFile = "job.appendix.html";
    for (int index = 0; index < 9; ++index) {
        report::ReportState state;
        state.name = "State " + std::to_string(index);
        content.states.push_back(state);
        content.blindRuns.push_back(
            {"Question", "Names", "Outcome " + std::to_string(index) + ".", "", index == 8});
    }
    const std::string html = report::renderHtml(content);
    CHECK(holds(html, "State 4"));
    CHECK(!holds(html, "State 5"));
    CHECK(holds(html, "4 more: see job.appendix.html."));
    // The latest that were finished.
    CHECK(holds(html, "Outcome 7."));
    CHECK(holds(html, "Outcome 6."));
    CHECK(!holds(html, "Outcome 5."));
    CHECK(!holds(html, "Outcome 8."));
    CHECK(holds(html, "7 more: see job.appendix.html."));
    CHECK(holds(report::renderAppendix(content), "State 8"));
    CHECK(holds(report::renderAppendix(content), "Outcome 8."));
}

TEST_CASE("Curve headers are quoted, and unknown cells empty", "[core][report]")
{
    ReportContent content;
    report::ReportState state;
    state.name = "a,nan \"b\"\nc";
    state.curve = {"", "", {100.0, 1000.0, 10000.0}, {1.5, notANumber, -2.25}};
    state.uncertaintiesDb = {0.1, notANumber, 0.2};
    content.states = {state};
    const std::string csv = report::curvesCsv(content);
    CHECK(csv.starts_with(
        "\"Frequency (Hz)\",\"a,nan \"\"b\"\" c: measured (dB re mean 500 Hz to 2 kHz)\","));
    CHECK(holds(csv, "\n100.000,1.500,0.100\n"));
    CHECK(holds(csv, "\n1000.000,,\n"));
    CHECK(holds(csv, "\n10000.000,-2.250,0.200\n"));
    CHECK(std::count(csv.begin(), csv.end(), '\n') == 32); // header and 31 third octaves
}
