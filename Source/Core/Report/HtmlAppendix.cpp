#include "Core/Report/HtmlAppendix.h"

#include "Core/Dsp/Units.h"
#include "Core/Report/EventWords.h"
#include "Core/Report/HtmlParts.h"
#include "Core/Report/MarkupText.h"
#include "Core/Report/Wording.h"

#include <algorithm>

namespace saddletone::report {

namespace {

/** Of one state everything, a line each. */
std::string stateSection(const ReportContent& content)
{
    std::string rows;
    for (const ReportState& state : content.states) {
        const auto noted = [](const std::string& text) {
            return text.empty() ? "not noted" : text;
        };
        std::string words = conditionWords(state.conditions, content.speedUnits)
                            + "; radio profile " + noted(state.conditions.radioProfile)
                            + "; volume step " + noted(state.conditions.volumeStep)
                            + "; microphone at " + noted(state.conditions.microphonePlace)
                            + "; microphone and recorder " + noted(state.microphone) + "; day "
                            + noted(state.measuredOn) + "; takes " + std::to_string(state.numTakes)
                            + "; recorder clock " + signedText(state.clockPpm, 1) + " ppm";
        words += state.calibration
                     ? "; calibrated, full scale = "
                           + numberText(state.calibration->splAtFullScaleDb(), 1) + " dB SPL"
                     : std::string("; levels relative");
        words += "; least signal over noise " + numberText(state.snrDb, 0) + " dB";
        rows += "<tr>" + rowHead(marked(state.curve.mark, state.name)) + cell(words)
                + cell(evennessWords(state.evenness)) + "</tr>\n";
    }
    return sectionOf("states", "Every measured state",
                     tableOf(columnHead("State") + columnHead("Conditions")
                                 + columnHead("Evenness, 80 Hz to 12 kHz: largest; RMS"),
                             rows)
                         + listOf(content.remarks));
}

std::string comparisonSection(const ReportContent& content)
{
    std::string html;
    for (const ReportComparison& entry : content.comparisons) {
        std::string words = entry.otherName + " against " + entry.parkedName + ". "
                            + verdictSentence(entry.other, entry.comparison, content.speedUnits);
        if (const std::string evidence = evidenceSentence(entry.comparison); !evidence.empty())
            words += " " + evidence;
        for (const std::string& note : entry.notes)
            words += " " + note;
        html += element("p", words);
    }
    for (const std::string& note : content.comparisonNotes)
        html += element("p", note);
    return html.empty() ? html : sectionOf("comparison", "Parked against engine running", html);
}

std::string needSection(const ReportContent& content)
{
    if (content.need.empty() && content.needDetails.empty())
        return {};
    return sectionOf("need", "What the bike takes at least",
                     (content.need.empty() ? std::string() : element("p", content.need))
                         + listOf(content.needDetails));
}

std::string candidateSection(const ReportContent& content)
{
    if (content.candidates.empty())
        return {};
    std::string rows;
    for (const ReportCandidate& candidate : content.candidates) {
        std::string settings = candidate.settings;
        for (const std::string& note : candidate.notes)
            settings += ". " + note;
        rows += "<tr>" + rowHead(marked(candidate.curve.mark, candidate.name))
                + cell(candidate.stateMark) + cell(settings)
                + figureCell(evennessWords(candidate.evenness)) + "</tr>\n";
    }
    return sectionOf("candidates", "Every candidate",
                     tableOf(columnHead("Candidate") + columnHead("State") + columnHead("Settings")
                                 + columnHead("Evenness, calculated"),
                             rows));
}

std::string settingsSection(const ReportContent& content)
{
    std::string html;
    for (const ReportCandidate& candidate : content.candidates)
        if (numSettingsLines(candidate.tuning) > 0)
            html += element("h3", marked(candidate.curve.mark, candidate.name))
                    + settingsTables(candidate.tuning);
    return html.empty() ? html
                        : sectionOf("settings", "All settings, to be typed in",
                                    html + classElement("p", "note", settingsNote()));
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

std::string rideTable(const ReportContent& content, std::size_t ride)
{
    const ReportRide& shown = content.rides[ride];
    if (!shown.noiseSplDba)
        return {};
    const auto percent = [](double share) { return numberText(100.0 * share, 0) + " %"; };
    std::string rows;
    for (const ReportCandidate& candidate : content.candidates) {
        if (ride >= candidate.audibility.size() || !candidate.audibility[ride])
            continue;
        const ReportAudibility& heard = *candidate.audibility[ride];
        std::string needs = "not to be had with volume alone";
        if (heard.gainNeededDb && *heard.gainNeededDb <= 0.0)
            needs = "nothing: " + numberText(-*heard.gainNeededDb, 0) + " dB to spare";
        else if (heard.gainNeededDb)
            needs = numberText(*heard.gainNeededDb, 0) + " dB more volume, "
                    + numberText(heard.powerRatio, heard.powerRatio < 10.0 ? 1 : 0)
                    + " times the power";
        rows += "<tr>" + rowHead(marked(candidate.curve.mark, candidate.name))
                + cell(balanceWords(candidate.programmeSplDba[ride] - *shown.noiseSplDba))
                + cell(audibleWords(candidate.octaveLevels, shown.noiseOctaveLevels))
                + figureCell(percent(heard.shareOfScale))
                + figureCell(percent(heard.shareOfLoudness))
                + figureCell(numberText(heard.speechIndex, 2)) + cell(needs) + "</tr>\n";
    }
    const std::string speed = speedWords(shown.speedKmh, content.speedUnits);
    return element("h3", (shown.speedKmh > 0.0 ? "At " + speed : "Parked, engine running")
                             + ": noise " + dba(*shown.noiseSplDba) + " at the ear")
           + tableOf(columnHead("Candidate") + columnHead("Against noise")
                         + columnHead("Octaves above noise")
                         + columnHead("Of the music's range heard") + columnHead("Of its loudness")
                         + columnHead("Spoken word, 0 to 1")
                         + columnHead("To hear 80 % of the range"),
                     rows);
}

std::string roadSection(const ReportContent& content)
{
    std::string html;
    for (std::size_t ride = 0; ride < content.rides.size(); ++ride)
        html += rideTable(content, ride);
    if (html.empty())
        return {};
    html += classElement("p", "note",
                         "Estimates for steady sound. Octaves: at the volume of standstill. Range: "
                         "of the ear's frequency scale, above the masked threshold. Spoken word: "
                         "Speech Intelligibility Index (ANSI S3.5), above 0.75 good, below 0.45 "
                         "poor.");
    return sectionOf("road", "What remains audible on the road", html);
}

/** Lines of text as paragraphs. */
std::string paragraphsOf(const std::string& lines)
{
    std::string html;
    for (std::size_t begin = 0; begin < lines.size();) {
        const std::size_t end = std::min(lines.find('\n', begin), lines.size());
        html += element("p", lines.substr(begin, end - begin));
        begin = end + 1;
    }
    return html;
}

std::string exposureSection(const ReportContent& content)
{
    if (content.exposureWords.empty() || content.rides.empty())
        return {};
    return sectionOf("exposure",
                     "One hour at " + speedWords(content.rides.back().speedKmh, content.speedUnits)
                         + ", with candidate 1 at this volume",
                     paragraphsOf(content.exposureWords));
}

std::string costSection(const ReportContent& content)
{
    return content.cost ? sectionOf("cost", "What the proposal asks of the speakers",
                                    listOf(content.cost->sentences))
                        : std::string();
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
                     "<div class=\"figures\">\n"
                         + tableOf(columnHead("Figure") + columnHead("Value") + columnHead("Status")
                                       + columnHead("Source"),
                                   rows)
                         + "</div>\n");
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

} // namespace

std::string renderAppendix(const ReportContent& content)
{
    std::string html = headerOf(content, "Appendix: ") + "<main>\n";
    html += stateSection(content);
    html += comparisonSection(content);
    html += needSection(content);
    html += candidateSection(content);
    html += settingsSection(content);
    html += roadSection(content);
    html += exposureSection(content);
    html += costSection(content);
    html += blindSection(content);
    html += eventSection(content);
    html += fileSection(content);
    html += figureSection(content);
    return documentOf(content, "Appendix: ", html + "</main>\n");
}

} // namespace saddletone::report
