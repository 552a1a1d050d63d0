#include "Core/Report/HtmlReport.h"

#include "Core/Dsp/Units.h"
#include "Core/Report/HtmlParts.h"
#include "Core/Report/MarkupText.h"
#include "Core/Report/Wording.h"
#include "Core/Ride/WindModel.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <string_view>
#include <vector>

namespace saddletone::report {

namespace {

// What two pages have room for in a font as wide as a system may put in place of the wanted one.
constexpr std::size_t mostStates = 5;
constexpr std::size_t mostComparisons = 2;
constexpr std::size_t mostSettingsLines = 7;
constexpr std::size_t mostBlindRuns = 2;

std::string percent(double share)
{
    return numberText(100.0 * share, 0) + " %";
}

/** "2 more stand in NAME.", where it is known where. */
std::string moreWords(std::size_t numMore, const ReportContent& content)
{
    if (numMore == 0)
        return {};
    return " " + std::to_string(numMore) + " more: see "
           + (content.appendixFile.empty() ? std::string("the appendix") : content.appendixFile)
           + ".";
}

/** The states that the page has room for: those that are compared or that candidates rest upon
    first, in their order. */
std::vector<std::size_t> shownStates(const ReportContent& content)
{
    const auto weightOf = [&](std::size_t index) {
        const ReportState& state = content.states[index];
        const std::string& name = state.curve.mark.empty() ? state.name : state.curve.mark;
        const bool isCompared =
            std::ranges::any_of(content.comparisons, [&](const ReportComparison& entry) {
                return entry.parkedName == name || entry.otherName == name;
            });
        const bool isUsed = std::ranges::find(content.candidates, name, &ReportCandidate::stateMark)
                            != content.candidates.end();
        return (isCompared ? 2 : 0) + (isUsed ? 1 : 0);
    };
    std::vector<std::size_t> order(content.states.size());
    for (std::size_t index = 0; index < order.size(); ++index)
        order[index] = index;
    std::ranges::stable_sort(order, [&](std::size_t first, std::size_t second) {
        return weightOf(first) > weightOf(second);
    });
    order.resize(std::min(order.size(), mostStates));
    std::ranges::sort(order);
    return order;
}

std::string comparisonWords(const ReportComparison& entry, SpeedUnits units)
{
    std::string details = entry.otherName + " against " + entry.parkedName + ".";
    if (entry.levelDifferenceDb)
        details += " Overall " + numberText(std::abs(*entry.levelDifferenceDb), 1) + " dB "
                   + (*entry.levelDifferenceDb < 0.0 ? "quieter" : "louder")
                   + " (500 Hz to 2 kHz).";
    for (const std::string& note : entry.notes)
        details += " " + note;
    return "<p class=\"verdict lines-3\">"
           + escapeMarkup(verdictSentence(entry.other, entry.comparison, units))
           + " <span class=\"note\">" + escapeMarkup(details) + "</span></p>\n";
}

/** What the proposal is, and what of the music it leaves on the fastest ride. */
std::string proposalWords(const ReportContent& content)
{
    const ReportCandidate& proposed = content.candidates[*content.proposal];
    std::string words = "Proposed: candidate " + marked(proposed.curve.mark, proposed.name) + ".";
    if (proposed.audibility.empty() || !proposed.audibility.back())
        return words;
    words += " At " + speedWords(content.rides.back().speedKmh, content.speedUnits) + ", "
             + percent(proposed.audibility.back()->shareOfScale)
             + " of the music's range stand above the noise";
    if (*content.proposal != 0 && content.candidates.front().audibility.back())
        words += " (candidate 1: "
                 + percent(content.candidates.front().audibility.back()->shareOfScale) + ")";
    return words + "; an estimate.";
}

std::string answerSection(const ReportContent& content)
{
    std::vector<const ReportComparison*> shown;
    for (const bool significant : {true, false})
        for (const ReportComparison& entry : content.comparisons)
            if (entry.comparison.significant == significant)
                shown.push_back(&entry);
    std::string html;
    for (std::size_t index = 0; index < std::min(shown.size(), mostComparisons); ++index)
        html += comparisonWords(*shown[index], content.speedUnits);
    if (shown.empty() && !content.comparisonNotes.empty())
        html += classElement("p", "lines-2", content.comparisonNotes.front());
    if (!content.need.empty())
        html += classElement("p", "lines-2", "What it takes at least: " + content.need);
    if (content.proposal)
        html += classElement("p", "lines-2", proposalWords(content));
    if (shown.size() > mostComparisons)
        html += classElement("p", "note",
                             "Comparisons of parked and running:"
                                 + moreWords(shown.size() - mostComparisons, content));
    return html.empty() ? html : sectionOf("comparison", "The answer in short", html);
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
                       : std::string("relative, not calibrated");
}

std::string intervalWords(const ReportState& state)
{
    return state.interval95Db
               ? "\xC2\xB1" + numberText(std::max(0.1, *state.interval95Db), 1) + " dB"
               : numberText(std::numeric_limits<double>::quiet_NaN(), 0);
}

std::string measuredSection(const ReportContent& content, const std::vector<std::size_t>& states)
{
    const auto column = [&](std::string head, std::string common, auto&& wordsOf) {
        StateColumn filled {std::move(head), std::move(common), {}};
        for (const std::size_t index : states)
            filled.cells.push_back(wordsOf(content.states[index]));
        return filled;
    };
    const auto noted = [](const std::string& text) { return text.empty() ? "not noted" : text; };
    std::vector<StateColumn> shown {
        column("State", "", [](const auto& state) { return marked(state.curve.mark, state.name); }),
        column("Radio profile", "",
               [](const auto& state) { return state.conditions.radioProfile; }),
        column("Bike", "", [&](const auto& state) {
            return conditionWords(state.conditions, content.speedUnits);
        })};
    // What is the same for all states takes a line and not a column; of the rest there is room for
    // two.
    constexpr std::size_t mostColumns = 5;
    std::string common;
    for (auto& candidate :
         {column("Date", "day", [&](const auto& state) { return noted(state.measuredOn); }),
          column("Microphone at", "microphone at",
                 [&](const auto& state) { return noted(state.conditions.microphonePlace); }),
          column("Microphone", "microphone and recorder",
                 [&](const auto& state) { return noted(state.microphone); }),
          column("Levels", "levels",
                 [](const auto& state) { return calibrationWords(state.calibration); }),
          column("Volume step", "volume step",
                 [&](const auto& state) { return noted(state.conditions.volumeStep); }),
          column("Takes", "takes",
                 [](const auto& state) { return std::to_string(state.numTakes); })}) {
        const std::string lead = common.empty() ? "For every state: " : "; ";
        if (isUniform(candidate) && !candidate.cells.empty())
            common += lead + candidate.common + " " + candidate.cells.front();
        else if (shown.size() < mostColumns)
            shown.push_back(candidate);
        else
            common += lead + candidate.common + " differs, see the appendix";
    }
    shown.push_back(column("Signal over noise", "",
                           [](const auto& state) { return numberText(state.snrDb, 0) + " dB"; }));
    shown.push_back(
        column("Uncertain by", "", [](const auto& state) { return intervalWords(state); }));
    shown.push_back(column("Evenness", "", [](const auto& state) {
        return state.evenness.numBands == 0 ? evennessWords(state.evenness)
                                            : signedText(state.evenness.largestDb, 1) + " dB at "
                                                  + frequencyWords(state.evenness.largestAtHz);
    }));

    std::string head;
    for (const StateColumn& filled : shown)
        head += columnHead(filled.head);
    std::string rows;
    for (std::size_t row = 0; row < states.size(); ++row) {
        rows += "<tr>" + rowHead(shown.front().cells[row]);
        for (std::size_t index = 1; index < shown.size(); ++index)
            rows += cell(shown[index].cells[row]);
        rows += "</tr>\n";
    }
    if (!common.empty())
        common += ".";
    const std::string note =
        "Least signal over noise and widest 95 % interval of the third octaves that are trusted; "
        "evenness: the band from 80 Hz to 12 kHz that strays most from their mean."
        + moreWords(content.states.size() - states.size(), content);
    return sectionOf("measured", "What was measured",
                     tableOf(head, rows, "fixed") + classElement("p", "lines-3", common)
                         + classElement("p", "note", note));
}

std::string curvesSection(const ReportContent& content, const std::vector<std::size_t>& states)
{
    SvgPlot plot;
    plot.id = "states";
    plot.title = "Measured responses";
    plot.description =
        "Third-octave levels of each measured state, each set to 0 dB at its own mean from "
        "500 Hz to 2 kHz. Evenness of each state is in the table of measured states.";
    plot.axisText = "Level in dB over frequency in Hz, third octaves, 0 dB = mean 500 Hz to 2 kHz";
    plot.widthPx = fullWidthPx;
    plot.heightPx = 156.0;
    // Their names are in the table above; with many, the legend would take the room of the curves.
    constexpr std::size_t mostNamed = 4;
    for (const std::size_t index : states) {
        plot.lines.push_back(content.states[index].curve);
        if (states.size() > mostNamed && !plot.lines.back().mark.empty())
            plot.lines.back().label.clear();
    }
    return sectionOf("curves", "The curves at the rider's head, measured",
                     figureOf(plot, "Higher means louder at that pitch. A gap means: drowned in "
                                    "noise, or outside what was played."));
}

std::string proposalSection(const ReportContent& content)
{
    constexpr std::string_view heading = "The proposal, to be typed in";
    const std::string more =
        content.appendixFile.empty() ? std::string("the appendix") : content.appendixFile;
    if (content.candidates.empty())
        return sectionOf("proposal", heading,
                         element("p", "No candidates have been set up in this job yet."));
    if (!content.proposal)
        return sectionOf("proposal", heading,
                         element("p", "Nothing is proposed yet. The settings of every candidate "
                                      "stand in "
                                          + more + "."));
    const ReportCandidate& proposed = content.candidates[*content.proposal];
    std::string html = classElement(
        "p", "lines-2",
        "Candidate " + marked(proposed.curve.mark, proposed.name)
            + (proposed.radioProfile.empty() ? std::string()
                                             : ", on the radio profile " + proposed.radioProfile)
            + ", tone controls as they were for state " + proposed.stateMark + ".");
    for (const std::string& note : proposed.notes)
        html += element("p", note + ".");
    const std::size_t numLines = numSettingsLines(proposed.tuning);
    if (numLines == 0)
        html += element("p", "No filter, gain or delay is to be set.");
    else if (numLines > mostSettingsLines)
        html += element("p", "Its settings are too many for this page. They stand whole in " + more
                                 + ".");
    else
        html += settingsTables(proposed.tuning) + classElement("p", "note", settingsNote());
    return sectionOf("proposal", heading, html);
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

std::string neededWords(const ReportAudibility& heard)
{
    if (!heard.gainNeededDb)
        return "not so";
    const double gainDb = *heard.gainNeededDb;
    return gainDb <= 0.0 ? numberText(-gainDb, 0) + " dB to spare"
                         : signedText(gainDb, 0) + " dB, \xC3\x97 "
                               + numberText(heard.powerRatio, heard.powerRatio < 10.0 ? 1 : 0);
}

std::string headCell(std::string_view text, std::string_view attributes)
{
    return "<th scope=\"col\" " + std::string(attributes) + ">" + escapeMarkup(text) + "</th>";
}

/** Every candidate at every speed of the report. */
std::string roadTable(const ReportContent& content)
{
    const std::string none = "\xE2\x80\x93";
    const bool isOnRoad = std::ranges::any_of(
        content.rides, [](const ReportRide& ride) { return ride.noiseSplDba.has_value(); });
    std::string top = headCell("Candidate", "rowspan=\"2\" class=\"name\"")
                      + headCell("State", "rowspan=\"2\"")
                      + headCell("Evenness, calculated", "rowspan=\"2\" class=\"even\"");
    std::string sub;
    std::string noise =
        "<tr>"
        + rowHead(content.noiseIsMeasured
                      ? std::string("Noise at the ear, recorded")
                      : "Noise at the ear, \xC2\xB1" + numberText(ride::windSpreadDb, 0) + " dB")
        + cell("") + cell("");
    for (const ReportRide& ride : content.rides) {
        const std::string speed = speedWords(ride.speedKmh, content.speedUnits);
        if (!ride.noiseSplDba) {
            top += headCell("Music, " + speed + ", dB(A)", "rowspan=\"2\" class=\"level\"");
            noise += cell("no noise");
            continue;
        }
        top +=
            headCell((ride.speedKmh > 0.0 ? "At " : "") + speed, "colspan=\"2\" class=\"group\"");
        sub += columnHead("re noise, dB") + columnHead("heard");
        noise += "<td colspan=\"2\">" + escapeMarkup(dba(*ride.noiseSplDba)) + "</td>";
    }
    if (isOnRoad)
        top +=
            headCell("80 % heard at the last speed: volume, power", "rowspan=\"2\" class=\"need\"");
    std::string rows;
    if (isOnRoad)
        rows = noise + cell("") + "</tr>\n";
    for (std::size_t index = 0; index < content.candidates.size(); ++index) {
        const ReportCandidate& candidate = content.candidates[index];
        const std::string mark =
            candidate.curve.mark + (content.proposal == index ? " (proposed)" : "");
        rows += "<tr>" + rowHead(marked(mark, candidate.name)) + cell(candidate.stateMark)
                + cell(candidate.evenness.numBands == 0
                           ? none
                           : signedText(candidate.evenness.largestDb, 1) + " dB at "
                                 + frequencyWords(candidate.evenness.largestAtHz));
        for (std::size_t ride = 0; ride < content.rides.size(); ++ride) {
            const auto& noiseSplDba = content.rides[ride].noiseSplDba;
            const bool isKnown = ride < candidate.programmeSplDba.size();
            if (!noiseSplDba) {
                rows += cell(isKnown ? numberText(candidate.programmeSplDba[ride], 1) + " "
                                           + sourceWords(candidate.levelSource)
                                     : none);
                continue;
            }
            rows += cell(isKnown ? signedText(candidate.programmeSplDba[ride] - *noiseSplDba, 1)
                                 : none);
            const bool isHeard = ride < candidate.audibility.size() && candidate.audibility[ride];
            rows += cell(isHeard ? percent(candidate.audibility[ride]->shareOfScale) : none);
        }
        if (isOnRoad)
            rows += cell(!candidate.audibility.empty() && candidate.audibility.back()
                             ? neededWords(*candidate.audibility.back())
                             : none);
        rows += "</tr>\n";
    }
    const std::string head =
        "<tr>" + top + "</tr>" + (sub.empty() ? std::string() : "\n<tr>" + sub + "</tr>");
    return tableOf(head, rows, "fixed");
}

std::string levelBasis(const ReportContent& content)
{
    const auto anyOf = [&](audition::LevelSource source) {
        return std::ranges::find(content.candidates, source, &ReportCandidate::levelSource)
               != content.candidates.end();
    };
    std::string words = "At the ear " + helmetWords(content.helmet)
                        + ", for music as dense as pink noise at "
                        + numberText(audition::referenceProgrammeDbfs, 0) + " dBFS. ";
    if (anyOf(audition::LevelSource::assumed))
        words += "Assumed: candidate 1 reaches " + numberText(content.assumedProgrammeSplDba, 0)
                 + " dB(A) at the bare head, the others as measured against it. ";
    if (anyOf(audition::LevelSource::measured))
        words += "Measured: from a calibrated recording at that volume step. ";
    words += "Heard: share of the ear's frequency scale in which the music stands above the masked "
             "threshold; an estimate for steady sound.";
    return words;
}

/** What an hour of the last ride is against the limits: the line with music, or without. */
std::string exposureNote(const ReportContent& content)
{
    if (content.exposureWords.empty() || content.rides.empty())
        return {};
    std::string line;
    for (std::size_t begin = 0; begin < content.exposureWords.size();) {
        const std::size_t end =
            std::min(content.exposureWords.find('\n', begin), content.exposureWords.size());
        const std::string found = content.exposureWords.substr(begin, end - begin);
        if (line.empty() || found.starts_with("noise and music"))
            line = found;
        begin = end + 1;
    }
    return classElement("p", "lines-2",
                        "One hour at "
                            + speedWords(content.rides.back().speedKmh, content.speedUnits)
                            + ", with candidate 1 at this volume: " + line + ".");
}

// The names of the candidates stand in the table above; their numbers do in half a page's width.
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
    plot.heightPx = 132.0;
    for (const ReportCandidate& candidate : content.candidates) {
        plot.lines.push_back(candidate.curve);
        plot.lines.back().label.clear();
    }
    return figureOf(plot, "Candidates: calculated, bare head.");
}

std::string roadFigure(const ReportContent& content)
{
    const std::string speed = speedWords(content.rides.back().speedKmh, content.speedUnits);
    SvgPlot plot;
    plot.id = "road-plot";
    plot.title = "Music against the noise of the ride at " + speed;
    plot.description =
        "Octave-band sound pressure levels at the ear: the hatched area is the noise of the "
        "ride, the lines are the candidates. Where a line runs above the area, music stands "
        "above the noise.";
    plot.axisText = "dB SPL over Hz, octaves, estimate";
    plot.widthPx = halfWidthPx;
    plot.heightPx = 132.0;
    plot.areas.push_back(content.rides.back().noiseOctaveLevels);
    for (const ReportCandidate& candidate : content.candidates) {
        plot.lines.push_back(candidate.octaveLevels);
        plot.lines.back().label.clear();
    }
    return figureOf(plot, "Music and noise at " + speed + ": "
                              + (content.noiseIsMeasured ? "noise as recorded." : "estimate."));
}

std::string roadSection(const ReportContent& content)
{
    if (content.candidates.empty() || content.rides.empty())
        return {};
    std::string figures = candidateFigure(content);
    if (content.rides.back().noiseSplDba)
        figures += roadFigure(content);
    return sectionOf("road", "What remains audible on the road",
                     roadTable(content) + classElement("p", "note lines-4", levelBasis(content))
                         + exposureNote(content) + "<div class=\"pair\">\n" + figures + "</div>\n");
}

std::string costRow(std::string_view name, const std::string& before, const std::string& after)
{
    return "<tr>" + rowHead(name) + figureCell(before) + figureCell(after) + "</tr>\n";
}

std::string costSection(const ReportContent& content)
{
    if (!content.proposal)
        return {};
    constexpr std::string_view heading = "What the proposal asks of the speakers";
    const ReportCandidate& proposed = content.candidates[*content.proposal];
    if (!content.cost) {
        constexpr double worthSayingDb = 1.0;
        std::string words = "It boosts nothing by more than 1 dB.";
        if (proposed.largestBoostDb >= worthSayingDb)
            words = "At the same volume it asks the amplifier for "
                    + numberText(dsp::dbToPower(proposed.largestBoostDb), 1) + " times the power"
                    + (proposed.largestBoostAtHz > 0.0
                           ? " at " + frequencyWords(proposed.largestBoostAtHz)
                           : std::string())
                    + ".";
        if (!proposed.tuning.chains.empty())
            words += " This job has no data of the speakers, so nothing is known of their limits.";
        return sectionOf("cost", heading, element("p", words));
    }
    const ReportCost& shown = *content.cost;
    const tuning::DriveState& before = shown.cost.before;
    const tuning::DriveState& after = shown.cost.after;
    const auto margin = [](double marginDb) { return signedText(marginDb, 1) + " dB"; };
    const std::string rows =
        costRow("Mean power of a speaker", numberText(before.wattsPerSpeaker, 2) + " W",
                numberText(after.wattsPerSpeaker, 2) + " W")
        + costRow("Peaks of the cone, of " + numberText(shown.xmaxMm, 1) + " mm",
                  numberText(before.peakExcursionMm, 2) + " mm",
                  numberText(after.peakExcursionMm, 2) + " mm")
        + costRow("Room until the cone's limit", margin(before.excursionMarginDb),
                  margin(after.excursionMarginDb))
        + costRow("Room until an amplifier of " + numberText(shown.amplifierWatts, 0) + " W clips",
                  margin(before.clipMarginDb), margin(after.clipMarginDb));
    const std::string note =
        "Pink noise of " + numberText(shown.plannedSplDb, 0)
        + " dB SPL at the head. Estimates, \xC2\xB1" + numberText(shown.cost.uncertaintyDb, 0)
        + " dB, by the data of " + shown.speakerName
        + (shown.speakerIsInvented ? ", which is invented" : "")
        + (shown.amplifierIsAssumed ? "; the amplifier's power is assumed." : ".")
        + (shown.cost.hasLimiter ? " Its limiter is not counted." : "");
    return sectionOf("cost", heading,
                     tableOf(columnHead("") + columnHead("now") + columnHead("then"), rows)
                         + classElement("p", "note lines-3", note));
}

std::string blindSection(const ReportContent& content)
{
    constexpr std::string_view heading = "What was heard blind";
    if (content.blindRuns.empty())
        return sectionOf("blind", heading, element("p", "No blind test was made."));
    std::string html;
    std::size_t numShown = 0;
    std::size_t numAbandoned = 0;
    for (auto run = content.blindRuns.rbegin(); run != content.blindRuns.rend(); ++run) {
        if (run->isAbandoned) {
            ++numAbandoned;
            continue;
        }
        if (numShown == mostBlindRuns)
            continue;
        html += classElement("p", "lines-4",
                             run->outcome + " " + run->question + " " + run->candidates);
        ++numShown;
    }
    std::string note = "Names were hidden; p is how often guessing does as well.";
    if (numShown == 0)
        html += element("p", "No run was finished.");
    if (content.blindRuns.size() - numAbandoned > 1)
        note += " The more runs are made, the more often one of them comes out by chance.";
    if (numAbandoned > 0)
        note += " Abandoned, without a result: " + std::to_string(numAbandoned) + ".";
    note += moreWords(content.blindRuns.size() - numShown, content);
    return sectionOf("blind", heading, html + classElement("p", "note", note));
}

std::string footerOf(const ReportContent& content)
{
    std::string words;
    if (!content.appendixFile.empty())
        words = "All settings, conditions and sources: " + content.appendixFile + ". ";
    if (!content.curvesFile.empty())
        words += "Every curve as numbers: " + content.curvesFile + ".";
    return words.empty() ? words : classElement("p", "note lines-2", words);
}

} // namespace

std::string renderHtml(const ReportContent& content)
{
    const std::vector<std::size_t> states = shownStates(content);
    std::string html = "<main>\n<div class=\"page\">\n" + headerOf(content, "");
    html += answerSection(content);
    html += measuredSection(content, states);
    html += curvesSection(content, states);
    html += proposalSection(content);
    html += "</div>\n<div class=\"page\">\n";
    html += roadSection(content);
    html += "<div class=\"pair\">\n" + costSection(content) + blindSection(content) + "</div>\n";
    html += "<div class=\"pair\">\n<div>\n"
            + sectionOf("measured-list", "Measured", listOf(content.measured))
            + sectionOf("cautions", "Cautions", listOf(content.cautions)) + "</div>\n"
            + sectionOf("estimated-list", "Estimated or assumed", listOf(content.estimated))
            + "</div>\n" + footerOf(content);
    return documentOf(content, "", html + "</div>\n</main>\n");
}

} // namespace saddletone::report
