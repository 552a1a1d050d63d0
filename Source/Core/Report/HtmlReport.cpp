#include "Core/Report/HtmlReport.h"

#include "Core/Dsp/Units.h"
#include "Core/Report/EventWords.h"
#include "Core/Report/MarkupText.h"
#include "Core/Report/Wording.h"
#include "Core/Ride/WindModel.h"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace saddletone::report {

namespace {

constexpr double fullWidthPx = 700.0; // A4 less 12 mm on either side: 703 px
constexpr double halfWidthPx = 344.0;

constexpr std::string_view styleSheet = R"(
@page { margin: 10mm 12mm 9mm; }
* { box-sizing: border-box; }
html { background: #e9e9e6; }
body { margin: 0 auto; padding: 1.2rem 1.4rem 2rem; max-width: 750px; background: #ffffff; color: #1a1a1a;
  font: 15px/1.38 Arial, Helvetica, "Liberation Sans", sans-serif; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .2rem; }
h2 { font-size: 1.08rem; line-height: 1.2; margin: 1.1rem 0 .3rem; border-bottom: 2px solid #1a1a1a; padding-bottom: .1rem; }
h3 { font-size: 1rem; margin: .6rem 0 .2rem; }
p { margin: .25rem 0; }
ul { margin: .2rem 0; padding-left: 1.15rem; }
li { margin: .08rem 0; }
.question { font-size: 1.08rem; font-weight: 600; }
.about { margin: .1rem 0 .4rem; }
.about span { display: inline-block; margin-right: 1.1rem; }
.invented { margin: 0 0 .7rem; padding: .3rem .6rem; border: 3px double #8a1c00; color: #8a1c00; font-weight: 700; text-align: center; }
.verdict { border-left: 5px solid #1a1a1a; padding-left: .6rem; font-weight: 600; }
.note { color: #404040; font-weight: 400; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; margin: .3rem 0; }
th, td { text-align: left; vertical-align: top; padding: .16rem .45rem .16rem 0; border-bottom: 1px solid #b0b0b0; }
.nowrap { white-space: nowrap; }
thead th { border-bottom: 1.5px solid #1a1a1a; vertical-align: bottom; }
#road th:first-child { width: 30%; }
#figures { font-size: .8em; break-before: page; }
figure { margin: .4rem 0; }
figcaption { color: #404040; }
svg { display: block; max-width: 100%; height: auto; }
.pair { display: flex; flex-wrap: wrap; gap: 0 12px; }
.pair > * { flex: 1 1 330px; min-width: 0; }
.columns { columns: 2 320px; column-gap: 20px; }
.columns ul, .columns h3:first-child { margin-top: 0; }
h2, h3, thead { break-after: avoid; }
figure, tr, li, .verdict, .keep { break-inside: avoid; }
@media screen {
  figure { overflow-x: auto; }
  .scroll table { min-width: 600px; }
  #curves svg { min-width: 560px; }
}
@media print {
  html { background: none; }
  body { padding: 0; max-width: none; font-size: 10pt; line-height: 1.2; }
  h1 { font-size: 16pt; } h2 { font-size: 11.5pt; margin: 6pt 0 2pt; } h3 { font-size: 10.5pt; margin: 4pt 0 1pt; }
  .question { font-size: 11.5pt; }
  p, ul { margin: 1.5pt 0; orphans: 2; widows: 2; } li { margin: 0; } figure { margin: 2pt 0; } table { margin: 2pt 0; }
  th, td { padding-top: 1pt; padding-bottom: 1pt; }
  .scroll { overflow: visible; }
  .invented { margin-bottom: 4pt; padding: 1pt; }
}
)";

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

/** A section; lead is its first part, which never parts from the heading at the end of a page. */
std::string sectionOf(std::string_view id, std::string_view heading, std::string_view lead,
                      std::string_view rest = {})
{
    const std::string name(id);
    const std::string headed =
        "<h2 id=\"" + name + "-heading\">" + escapeMarkup(heading) + "</h2>\n" + std::string(lead);
    return "<section id=\"" + name + "\" aria-labelledby=\"" + name + "-heading\">\n"
           + (rest.empty() ? headed
                           : "<div class=\"keep\">\n" + headed + "</div>\n" + std::string(rest))
           + "</section>\n";
}

std::string columnHead(std::string_view text)
{
    return "<th scope=\"col\">" + escapeMarkup(text) + "</th>";
}

std::string rowHead(std::string_view text)
{
    return "<th scope=\"row\">" + escapeMarkup(text) + "</th>";
}

std::string cell(std::string_view text)
{
    return "<td>" + escapeMarkup(text) + "</td>";
}

/** A cell whose words stay on one line: figures with their units. */
std::string figureCell(std::string_view text)
{
    return "<td class=\"nowrap\">" + escapeMarkup(text) + "</td>";
}

std::string figureOf(const SvgPlot& plot, std::string_view caption)
{
    return "<figure>\n" + renderSvg(plot) + element("figcaption", caption) + "</figure>\n";
}

/** A table that scrolls by itself on a narrow screen. */
std::string tableOf(std::string_view head, std::string_view rows)
{
    return "<div class=\"scroll\"><table>\n<thead><tr>" + std::string(head)
           + "</tr></thead>\n<tbody>\n" + std::string(rows) + "</tbody></table></div>\n";
}

std::string dba(double level)
{
    return numberText(level, 1) + " dB(A)";
}

std::string helmetWords(ride::Helmet helmet)
{
    return helmet == ride::Helmet::none
               ? std::string("without a helmet")
               : "under " + std::string(helmet == ride::Helmet::openFace ? "an " : "a ")
                     + std::string(ride::helmetLabel(helmet));
}

std::string sourceWords(audition::LevelSource source)
{
    return source == audition::LevelSource::measured ? "measured" : "assumed";
}

std::string headerOf(const ReportContent& content)
{
    std::string html = "<header>\n";
    if (content.invented)
        html +=
            classElement("p", "invented",
                         "INVENTED DEMO DATA \xE2\x80\x93 no bike was measured for this report");
    html += element("h1", content.title);
    html += "<p class=\"about\">";
    const auto fact = [&](std::string_view name, const std::string& value) {
        if (!value.empty())
            html += "<span><strong>" + escapeMarkup(name) + "</strong> " + escapeMarkup(value)
                    + "</span>\n";
    };
    fact("Bike", content.bike);
    fact("Shop", content.shop);
    fact("Date", content.dateText);
    html += "</p>\n<p class=\"question\">" + escapeMarkup(content.question) + "</p>\n</header>\n";
    return html;
}

/** One column of the table of states. */
struct StateColumn {
    std::string head;
    std::string common; ///< What it is called where all states share it.
    std::vector<std::string> cells;
};

/** The same in every row. */
bool isUniform(const StateColumn& column)
{
    return std::ranges::adjacent_find(column.cells, std::ranges::not_equal_to())
           == column.cells.end();
}

std::string calibrationWords(const std::optional<measure::Calibration>& calibration)
{
    return calibration ? "calibrated (full scale = "
                             + numberText(calibration->splAtFullScaleDb(), 1) + " dB SPL)"
                       : std::string("relative");
}

std::string measuredSection(const ReportContent& content)
{
    const auto column = [&](std::string head, std::string common, auto&& wordsOf) {
        StateColumn filled {std::move(head), std::move(common), {}};
        for (const ReportState& state : content.states)
            filled.cells.push_back(wordsOf(state));
        return filled;
    };
    std::vector<StateColumn> shown {
        column("State", "", [](const auto& state) { return marked(state.curve.mark, state.name); }),
        column("Radio profile", "",
               [](const auto& state) { return state.conditions.radioProfile; }),
        column("Bike", "", [](const auto& state) { return conditionWords(state.conditions); })};
    // What is the same for all states takes a line and not a column.
    std::string common;
    for (auto& candidate :
         {column("Microphone", "microphone at",
                 [](const auto& state) { return state.conditions.microphonePlace; }),
          column("Volume step", "volume step",
                 [](const auto& state) { return state.conditions.volumeStep; }),
          column("Levels", "levels",
                 [](const auto& state) { return calibrationWords(state.calibration); }),
          column("Takes", "takes",
                 [](const auto& state) { return std::to_string(state.numTakes); }),
          column("Recorder clock", "recorder clock",
                 [](const auto& state) { return signedText(state.clockPpm, 1) + " ppm"; })}) {
        if (!isUniform(candidate))
            shown.push_back(candidate);
        else if (!candidate.cells.empty() && !candidate.cells.front().empty())
            common += (common.empty() ? "For every state: " : "; ") + candidate.common + " "
                      + candidate.cells.front();
    }
    shown.push_back(column("Signal over noise, least", "",
                           [](const auto& state) { return numberText(state.snrDb, 0) + " dB"; }));
    shown.push_back(column("Evenness: largest; RMS", "",
                           [](const auto& state) { return evennessWords(state.evenness); }));

    std::string head;
    for (const StateColumn& filled : shown)
        head += columnHead(filled.head);
    std::string rows;
    for (std::size_t row = 0; row < content.states.size(); ++row) {
        rows += "<tr>" + rowHead(shown.front().cells[row]);
        for (std::size_t index = 1; index < shown.size(); ++index)
            rows += index + 1 == shown.size() ? figureCell(shown[index].cells[row])
                                              : cell(shown[index].cells[row]);
        rows += "</tr>\n";
    }
    std::string note = common.empty() ? common : common + ". ";
    note += "Evenness: how far third-octave bands from 80 Hz to 12 kHz stray from their mean; 0 dB "
            "would be "
            "perfectly even.";
    return sectionOf("measured", "What was measured",
                     tableOf(head, rows) + classElement("p", "note", note)
                         + listOf(content.remarks));
}

std::string curvesSection(const ReportContent& content)
{
    SvgPlot plot;
    plot.id = "states";
    plot.title = "Measured responses";
    plot.description =
        "Third-octave levels of each measured state, each set to 0 dB at its own mean from "
        "500 Hz to 2 kHz. Evenness of each state is in the table of measured states.";
    plot.axisText = "Level in dB over frequency in Hz, third octaves, 0 dB = mean 500 Hz to 2 kHz";
    plot.widthPx = fullWidthPx;
    plot.heightPx = 208.0;
    for (const ReportState& state : content.states)
        plot.lines.push_back(state.curve);
    return sectionOf(
        "curves", "The curves at the rider's head",
        figureOf(plot, "Higher means louder at that pitch. A gap means: drowned in noise, or "
                       "outside what was played."));
}

std::string comparisonSection(const ReportContent& content)
{
    std::string html;
    for (const ReportComparison& entry : content.comparisons) {
        std::string details = entry.otherName + " against " + entry.parkedName + ".";
        if (entry.levelDifferenceDb)
            details += " Overall " + numberText(std::abs(*entry.levelDifferenceDb), 1) + " dB "
                       + (*entry.levelDifferenceDb < 0.0 ? "quieter" : "louder")
                       + " (500 Hz to 2 kHz).";
        if (const std::string evidence = evidenceSentence(entry.comparison); !evidence.empty())
            details += " " + evidence;
        for (const std::string& note : entry.notes)
            details += " " + note;
        html += "<p class=\"verdict\">"
                + escapeMarkup(verdictSentence(entry.other, entry.comparison))
                + " <span class=\"note\">" + escapeMarkup(details) + "</span></p>\n";
    }
    for (const std::string& note : content.comparisonNotes)
        html += element("p", note);
    return sectionOf("comparison", "Parked against engine running", html);
}

std::string boostWords(const ReportCandidate& candidate)
{
    constexpr double worthSayingDb = 1.0;
    if (candidate.largestBoostDb < worthSayingDb)
        return {};
    return ". Asks the amplifier for " + numberText(dsp::dbToPower(candidate.largestBoostDb), 1)
           + " times the power"
           + (candidate.largestBoostAtHz > 0.0 ? " at " + frequencyWords(candidate.largestBoostAtHz)
                                               : std::string());
}

std::string candidateSection(const ReportContent& content)
{
    if (content.candidates.empty())
        return sectionOf("candidates", "What could be chosen",
                         element("p", "No candidates have been set up in this job yet."));
    std::string rows;
    for (const ReportCandidate& candidate : content.candidates)
        rows += "<tr>" + rowHead(marked(candidate.curve.mark, candidate.name))
                + cell(candidate.stateMark) + cell(candidate.settings + boostWords(candidate))
                + figureCell(evennessWords(candidate.evenness)) + "</tr>\n";
    return sectionOf("candidates", "What could be chosen",
                     tableOf(columnHead("Candidate") + columnHead("State") + columnHead("Settings")
                                 + columnHead("Evenness, calculated"),
                             rows));
}

/** Octaves in which a candidate is at least as strong as the noise. */
std::string audibleWords(const Curve& programme, const Curve& noise)
{
    std::vector<double> aboveHz;
    for (std::size_t index = 0; index < std::min(programme.levelsDb.size(), noise.levelsDb.size());
         ++index)
        if (programme.levelsDb[index] >= noise.levelsDb[index])
            aboveHz.push_back(programme.frequenciesHz[index]);
    if (aboveHz.empty())
        return "none";
    std::string words;
    for (std::size_t first = 0; first < aboveHz.size();) {
        std::size_t last = first;
        while (last + 1 < aboveHz.size() && aboveHz[last + 1] < 2.5 * aboveHz[last])
            ++last;
        words += (words.empty() ? "" : ", ") + frequencyWords(aboveHz[first]);
        if (last > first)
            words += " to " + frequencyWords(aboveHz[last]);
        first = last + 1;
    }
    return words;
}

std::string levelTable(const ReportContent& content)
{
    const std::string none = "\xE2\x80\x93";
    std::optional<double> parkedNoise;
    if (!content.rides.empty() && !(content.rides.front().speedKmh > 0.0))
        parkedNoise = content.rides.front().noiseSplDba;
    std::string head = columnHead("Candidate") + columnHead("Parked, 0 mph: music alone");
    std::string rows = "<tr>"
                       + rowHead(content.noiseIsMeasured ? "Noise, recorded" : "Noise, estimate")
                       + cell(parkedNoise ? dba(*parkedNoise) : std::string("no noise"));
    for (const ReportRide& ride : content.rides) {
        if (!ride.noiseSplDba || !(ride.speedKmh > 0.0))
            continue;
        head += columnHead("Against noise at " + speedWords(ride.speedKmh));
        rows += figureCell(content.noiseIsMeasured
                               ? dba(*ride.noiseSplDba)
                               : numberText(*ride.noiseSplDba, 1) + " \xC2\xB1 "
                                     + numberText(ride::windSpreadDb, 0) + " dB(A)");
    }
    if (content.noiseOctaveLevels) {
        head += columnHead("Octaves above noise at "
                           + numberText(dsp::kmhToMph(content.rides.back().speedKmh), 0) + " mph");
        rows += cell(none);
    }
    rows += "</tr>\n";
    for (const ReportCandidate& candidate : content.candidates) {
        const auto& levels = candidate.programmeSplDba;
        rows += "<tr>" + rowHead(marked(candidate.curve.mark, candidate.name))
                + figureCell(levels.empty()
                                 ? none
                                 : dba(levels.front()) + ", " + sourceWords(candidate.levelSource));
        for (std::size_t index = 0; index < content.rides.size(); ++index)
            if (const auto& noise = content.rides[index].noiseSplDba;
                noise && content.rides[index].speedKmh > 0.0)
                rows += cell(index < levels.size() ? balanceWords(levels[index] - *noise) : none);
        if (content.noiseOctaveLevels)
            rows += cell(audibleWords(candidate.octaveLevels, *content.noiseOctaveLevels));
        rows += "</tr>\n";
    }
    return tableOf(head, rows);
}

std::string levelBasis(const ReportContent& content)
{
    const bool anyAssumed =
        std::ranges::any_of(content.candidates, [](const ReportCandidate& candidate) {
            return candidate.levelSource == audition::LevelSource::assumed;
        });
    const bool anyMeasured =
        std::ranges::any_of(content.candidates, [](const ReportCandidate& candidate) {
            return candidate.levelSource == audition::LevelSource::measured;
        });
    std::string words = "At the ear " + helmetWords(content.helmet)
                        + ", for music as dense as pink noise at "
                        + numberText(audition::referenceProgrammeDbfs, 0) + " dBFS. ";
    if (anyAssumed)
        words += "Assumed: candidate 1 reaches " + numberText(content.assumedProgrammeSplDba, 0)
                 + " dB(A) at the bare head, the others as measured against it. ";
    if (anyMeasured)
        words += "Measured: from a calibrated recording at that volume step. ";
    if (content.noiseIsMeasured)
        return words + "Noise: recorded at the rider's head, with its level.";
    return words + "Noise: \xC2\xB1" + numberText(ride::windSpreadDb, 0)
           + " dB from bike to bike and rider to rider.";
}

// The names of the candidates stand in the tables around; their numbers do in half a page's width.
std::string candidateFigure(const ReportContent& content)
{
    SvgPlot plot;
    plot.id = "candidates-plot";
    plot.title = "Calculated responses of the candidates";
    plot.description =
        "Third-octave levels of each candidate as calculated from the measured state and the "
        "settings, each set to 0 dB at its own mean from 500 Hz to 2 kHz.";
    plot.axisText = "dB over Hz, 0 dB = mean 500 Hz to 2 kHz";
    plot.widthPx = halfWidthPx;
    plot.heightPx = 180.0;
    for (const ReportCandidate& candidate : content.candidates) {
        plot.lines.push_back(candidate.curve);
        plot.lines.back().label.clear();
    }
    return figureOf(plot, "Candidates as numbered above: calculated, bare head.");
}

std::string roadFigure(const ReportContent& content)
{
    const std::string speed = speedWords(content.rides.back().speedKmh);
    SvgPlot plot;
    plot.id = "road";
    plot.title = "Music against the noise of the ride at " + speed;
    plot.description =
        "Octave-band sound pressure levels at the ear: the hatched area is the noise of the "
        "ride, the lines are the candidates. Where a line runs above the area, music stands "
        "above the noise.";
    plot.axisText = "dB SPL over Hz, octaves, estimate";
    plot.widthPx = halfWidthPx;
    plot.heightPx = 180.0;
    plot.areas.push_back(*content.noiseOctaveLevels);
    for (const ReportCandidate& candidate : content.candidates) {
        plot.lines.push_back(candidate.octaveLevels);
        plot.lines.back().label.clear();
    }
    return figureOf(plot, "Music against the noise of the ride at " + speed + ": "
                              + (content.noiseIsMeasured ? "noise as recorded." : "estimate."));
}

/** What remains on the last ride, and what it takes to hear most of it. */
std::string audibilityTable(const ReportContent& content)
{
    const auto percent = [](double share) { return numberText(100.0 * share, 0) + " %"; };
    std::string rows;
    for (const ReportCandidate& candidate : content.candidates) {
        if (!candidate.audibility)
            continue;
        const ReportAudibility& heard = *candidate.audibility;
        std::string needs = "not to be had with volume alone";
        if (heard.gainNeededDb && *heard.gainNeededDb <= 0.0)
            needs = "nothing: " + numberText(-*heard.gainNeededDb, 0) + " dB to spare";
        else if (heard.gainNeededDb)
            needs = numberText(*heard.gainNeededDb, 0) + " dB more volume, "
                    + numberText(heard.powerRatio, heard.powerRatio < 10.0 ? 1 : 0)
                    + " times the power";
        rows += "<tr>" + rowHead(marked(candidate.curve.mark, candidate.name))
                + figureCell(percent(heard.shareOfScale))
                + figureCell(percent(heard.shareOfLoudness))
                + figureCell(numberText(heard.speechIndex, 2)) + cell(needs) + "</tr>\n";
    }
    if (rows.empty())
        return {};
    return tableOf(columnHead("At " + speedWords(content.rides.back().speedKmh))
                       + columnHead("Of the music's range heard") + columnHead("Of its loudness")
                       + columnHead("Spoken word, 0 to 1")
                       + columnHead("To hear 80 % of the range"),
                   rows)
           + classElement("p", "note",
                          "Estimates for steady sound. Range: of the ear's frequency scale, above "
                          "the masked threshold. Spoken word: Speech Intelligibility Index (ANSI "
                          "S3.5), above 0.75 good, below 0.45 poor. More power than amplifier and "
                          "speakers are made for harms them.");
}

std::string exposureNote(const ReportContent& content)
{
    if (content.exposureWords.empty())
        return {};
    std::string lines;
    for (std::size_t begin = 0; begin < content.exposureWords.size();) {
        const std::size_t end =
            std::min(content.exposureWords.find('\n', begin), content.exposureWords.size());
        lines += (lines.empty() ? "" : " ") + content.exposureWords.substr(begin, end - begin);
        if (lines.back() != '.')
            lines += '.';
        begin = end + 1;
    }
    return classElement("p", "note", "One hour of it, with candidate 1 at this volume. " + lines);
}

/** Every figure behind the noise, for whoever wants to know. */
std::string figureSection(const ReportContent& content)
{
    if (content.noiseFigures.empty())
        return {};
    std::string rows;
    for (const dsp::ModelFigure& figure : content.noiseFigures)
        rows += "<tr>" + rowHead(figure.name) + cell(figure.value)
                + cell(std::string(dsp::figureStatusName(figure.status))) + cell(figure.source)
                + "</tr>\n";
    return sectionOf("figures", "What the noise of the ride rests on",
                     tableOf(columnHead("Figure") + columnHead("Value") + columnHead("Status")
                                 + columnHead("Source"),
                             rows));
}

std::string roadSection(const ReportContent& content)
{
    if (content.candidates.empty() || content.rides.empty())
        return {};
    std::string figures = candidateFigure(content);
    if (content.noiseOctaveLevels)
        figures += roadFigure(content);
    return sectionOf("road", "What remains audible on the road",
                     "<div class=\"pair\">\n" + figures + "</div>\n",
                     levelTable(content) + classElement("p", "note", levelBasis(content))
                         + audibilityTable(content) + exposureNote(content));
}

/** The folder that all files share, with its '/'; empty if they share none. */
std::string commonFolder(const std::vector<ReportAuditionFile>& files)
{
    const std::string& first = files.front().name;
    std::string folder = first.substr(0, first.rfind('/') + 1);
    for (const ReportAuditionFile& file : files)
        if (file.name.substr(0, file.name.rfind('/') + 1) != folder)
            return {};
    return folder;
}

std::string fileSection(const ReportContent& content)
{
    if (content.auditionFiles.empty())
        return {};
    const std::string folder = commonFolder(content.auditionFiles);
    std::string rows;
    for (const ReportAuditionFile& file : content.auditionFiles)
        rows += "<tr>" + rowHead(file.name.substr(folder.size())) + cell(file.words)
                + cell(file.belowRoadDb ? numberText(*file.belowRoadDb, 1) + " dB"
                                        : std::string("not tied to the bike"))
                + "</tr>\n";
    const std::string where = folder.empty() ? std::string() : "In the folder " + folder + ". ";
    return sectionOf(
        "files", "Sound files to compare",
        tableOf(columnHead("File") + columnHead("What it is")
                    + columnHead("Quieter than the road by"),
                rows)
            + classElement(
                "p", "note",
                where
                    + "Quieter: with headphones that play the parked bike as loud as in life. "
                      "Music against noise stays true."));
}

std::string blindSection(const ReportContent& content)
{
    if (content.blindRuns.empty())
        return {};
    std::string rows;
    for (const ReportBlindRun& run : content.blindRuns)
        rows += "<tr>" + rowHead(run.question) + cell(run.candidates) + cell(run.outcome)
                + cell(run.conditions) + "</tr>\n";
    std::string notes;
    for (const std::string& note : content.blindNotes)
        notes += (notes.empty() ? "" : " ") + note;
    return sectionOf("blind", "What was heard blind",
                     tableOf(columnHead("Question") + columnHead("Candidates")
                                 + columnHead("Outcome") + columnHead("Conditions"),
                             rows)
                         + classElement("p", "note", notes));
}

std::string eventSection(const ReportContent& content)
{
    std::string rows;
    for (const audition::EventRecord& event : content.events)
        if (event.numListeners > 0)
            rows += "<tr>" + rowHead(event.startedAt.substr(0, 10))
                    + cell(listenerWords(event.numListeners)) + cell(likedWords(event))
                    + cell(eventConditionWords(event)) + "</tr>\n";
    if (rows.empty())
        return {};
    return sectionOf("events", "What was liked at events",
                     tableOf(columnHead("Event of") + columnHead("Listened")
                                 + columnHead("Liked best") + columnHead("Conditions"),
                             rows)
                         + classElement("p", "note", eventCaution()));
}

std::string foundationSection(const ReportContent& content)
{
    const std::string html = "<div class=\"columns\">\n" + element("h3", "Measured")
                             + listOf(content.measured) + element("h3", "Estimated or assumed")
                             + listOf(content.estimated) + "</div>\n";
    return sectionOf("foundation", "What is measured and what is estimated", html);
}

} // namespace

std::string renderHtml(const ReportContent& content)
{
    std::string html =
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n";
    html += element("title", content.title.empty() ? content.bike : content.title);
    html += "<style>" + std::string(styleSheet) + "</style>\n</head>\n<body>\n";
    html += headerOf(content) + "<main>\n";
    html += measuredSection(content);
    html += curvesSection(content);
    html += comparisonSection(content);
    html += candidateSection(content);
    html += roadSection(content);
    html += blindSection(content);
    html += eventSection(content);
    html += fileSection(content);
    html += sectionOf("cautions", "Cautions",
                      "<div class=\"columns\">\n" + listOf(content.cautions) + "</div>\n");
    html += foundationSection(content);
    html += figureSection(content);
    return html + "</main>\n</body>\n</html>\n";
}

} // namespace saddletone::report
