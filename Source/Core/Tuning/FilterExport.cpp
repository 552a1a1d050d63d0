#include "Core/Tuning/FilterExport.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"
#include "Core/Tuning/SettingsTable.h"

#include <array>
#include <cmath>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

namespace saddletone::tuning {

namespace {

using files::fixedText;

/** The group by itself, so that what other groups do is not in its biquads. */
DesignedTuning designGroup(const Tuning& tuning, OutputGroup group, double sampleRate)
{
    Tuning own;
    for (const Chain& chain : tuning.chains)
        if (chain.group == group)
            own.chains.push_back(chain);
    return designTuning(own, group, sampleRate);
}

/** Names come from outside; a line break in one would break the table. */
std::string oneLine(std::string text)
{
    for (char& character : text)
        if (static_cast<unsigned char>(character) < 0x20U)
            character = ' ';
    return text;
}

std::string padded(std::string text, std::size_t width)
{
    if (text.size() < width)
        text.append(width - text.size(), ' ');
    return text;
}

std::string paddedLeft(const std::string& text, std::size_t width)
{
    return text.size() < width ? std::string(width - text.size(), ' ') + text : text;
}

std::string tableLine(const std::string& number, std::string_view type, const FilterRow& row,
                      const std::string& rest)
{
    std::string line = paddedLeft(number, 4) + "  " + padded(std::string(type), 16)
                       + paddedLeft(row.frequencyHz, 14) + paddedLeft(row.gainDb, 10)
                       + paddedLeft(row.q, 8) + "  " + padded(row.alignment, 15)
                       + paddedLeft(row.order, 5);
    if (!rest.empty())
        line += "  " + rest;
    line.erase(line.find_last_not_of(' ') + 1);
    return line + "\n";
}

std::string filterLines(const std::vector<Element>& filters)
{
    if (filters.empty())
        return "No filters.\n";
    std::string text = tableLine(
        "No.", "Type", {"Frequency (Hz)", "Gain (dB)", "Q", "Order", "Alignment", ""}, "Remark");
    int number = 0;
    for (const Element& filter : filters)
        for (const Element& element : rowsOf(filter)) {
            const FilterRow row = filterRow(element, 1);
            std::string remark = row.slope.empty() ? "" : "shelf slope " + row.slope;
            if (!element.label.empty())
                remark += (remark.empty() ? "" : "; ") + oneLine(element.label);
            text += tableLine(std::to_string(++number), typeHeading(element.type), row, remark);
        }
    return text;
}

/** A cell of text: quoted where it holds what would end it (RFC 4180, clause 2). */
std::string csvCell(const std::string& text)
{
    if (text.find_first_of(",\"\r\n") == std::string::npos)
        return text;
    std::string quoted = "\"";
    for (const char character : text) {
        if (character == '"')
            quoted += '"';
        quoted += character;
    }
    return quoted + "\"";
}

std::string csvLine(OutputGroup group, const Element& element, const std::string& delayMs,
                    const std::string& polarity)
{
    FilterRow row = filterRow(element, 4);
    const bool isLimiter = element.type == ElementType::limiter;
    const std::array cells {std::string(measure::speakerGroupName(group)),
                            std::string(elementTypeName(element.type)),
                            row.frequencyHz,
                            row.gainDb,
                            row.q,
                            row.slope,
                            row.alignment,
                            row.order,
                            delayMs,
                            polarity,
                            isLimiter ? fixedText(element.thresholdDbfs, 2) : std::string(),
                            isLimiter ? fixedText(element.attackMs, 3) : std::string(),
                            isLimiter ? fixedText(element.releaseMs, 3) : std::string(),
                            element.label};
    std::string line;
    for (std::size_t index = 0; index < cells.size(); ++index)
        line += (index == 0 ? "" : ",") + csvCell(cells[index]);
    return line + "\n";
}

nlohmann::json biquadJson(const dsp::BiquadCoefficients& section)
{
    return {{"b0", section.b0},
            {"b1", section.b1},
            {"b2", section.b2},
            {"a1", section.a1},
            {"a2", section.a2}};
}

} // namespace

std::string filterTableText(const Tuning& tuning)
{
    std::string text =
        "Filter settings: " + (tuning.name.empty() ? "(no name)" : oneLine(tuning.name))
        + "\n\n"
          "Signs: a positive gain is a boost, a negative gain a cut.\n"
          "Q of a bell: its frequency over its width between the points of half its "
          "gain in dB.\n"
          "Q of a shelf: 0.71 is the steepest without overshoot; its frequency is "
          "where half its gain in dB is reached.\n"
          "Q of a notch: its frequency over its width at -3 dB.\n"
          "High-pass and low-pass: Butterworth and Bessel are 3 dB down at the "
          "frequency, Linkwitz-Riley 6 dB; an order is 6 dB per octave.\n"
          "Groups add up: what stands under all speakers acts besides what stands "
          "under a part of them.\n";
    const auto groups = settingsByGroup(tuning);
    if (groups.empty())
        return text + "\nNothing is set: the sound stays as measured.\n";
    for (const GroupSettings& settings : groups) {
        text +=
            "\n" + std::string(groupHeading(settings.group)) + "\n" + filterLines(settings.filters);
        text += "Overall gain: " + signedGain(settings.gainDb, 1) + " dB\n";
        text += "Delay: " + fixedText(settings.delayMs, 3) + " ms\n";
        text += settings.isInverted ? "Polarity: inverted (plus and minus exchanged)\n"
                                    : "Polarity: normal\n";
        for (const Element& limiter : settings.limiters)
            text += "Limiter: threshold " + fixedText(limiter.thresholdDbfs, 1) + " dBFS, attack "
                    + fixedText(limiter.attackMs, 2) + " ms, release "
                    + fixedText(limiter.releaseMs, 0) + " ms\n";
    }
    return text;
}

std::string filterTableCsv(const Tuning& tuning)
{
    std::string text = "group,type,frequency_hz,gain_db (positive = boost),q,shelf_slope,alignment,"
                       "order,delay_ms,polarity,threshold_dbfs,attack_ms,release_ms,label\n";
    for (const GroupSettings& settings : settingsByGroup(tuning)) {
        for (const Element& filter : settings.filters)
            for (const Element& row : rowsOf(filter))
                text += csvLine(settings.group, row, "", "");
        Element overall;
        overall.gainDb = settings.gainDb;
        text += csvLine(settings.group, overall, "", "");
        Element delay;
        delay.type = ElementType::delay;
        text += csvLine(settings.group, delay, fixedText(settings.delayMs, 6), "");
        Element polarity;
        polarity.type = ElementType::polarity;
        text += csvLine(settings.group, polarity, "", settings.isInverted ? "inverted" : "normal");
        for (const Element& limiter : settings.limiters)
            text += csvLine(settings.group, limiter, "", "");
    }
    return text;
}

nlohmann::json filterBiquadsJson(const Tuning& tuning, double sampleRate)
{
    nlohmann::json groups = nlohmann::json::array();
    for (const GroupSettings& settings : settingsByGroup(tuning)) {
        const DesignedTuning designed = designGroup(tuning, settings.group, sampleRate);
        nlohmann::json biquads = nlohmann::json::array();
        for (const dsp::BiquadCoefficients& section : designed.sections)
            biquads.push_back(biquadJson(section));
        nlohmann::json limiters = nlohmann::json::array();
        for (const Element& limiter : settings.limiters)
            limiters.push_back({{"thresholdDbfs", limiter.thresholdDbfs},
                                {"attackMs", limiter.attackMs},
                                {"releaseMs", limiter.releaseMs}});
        groups.push_back({{"group", measure::speakerGroupName(settings.group)},
                          {"gainLinear", std::abs(designed.gainLinear)},
                          {"polarity", settings.isInverted ? "inverted" : "normal"},
                          {"delaySamples", designed.delaySamples},
                          {"lowPassLeadSamples", designed.lowPassLeadSamples},
                          {"biquads", std::move(biquads)},
                          {"limiters", std::move(limiters)}});
    }
    return {
        {"kind", "saddletone-biquads"},
        {"schemaVersion", 1},
        {"name", tuning.name},
        {"sampleRate", sampleRate},
        {"differenceEquation", "y[n] = b0*x[n] + b1*x[n-1] + b2*x[n-2] - a1*y[n-1] - a2*y[n-2]"},
        {"transferFunction", "H(z) = (b0 + b1*z^-1 + b2*z^-2) / (1 + a1*z^-1 + a2*z^-2)"},
        {"signConvention",
         "a0 is 1; a1 and a2 are subtracted in the difference equation, so change their sign "
         "for a device that adds them. gainLinear above 1 is a boost; with polarity inverted "
         "multiply by -gainLinear."},
        {"delayNote",
         "delaySamples is all the delay to set: the tuning's own and lowPassLeadSamples, by which "
         "low-pass biquads run ahead of the analogue filter and without which the ways of a "
         "crossover do not add up."},
        {"groups", std::move(groups)}};
}

dsp::Result<void> exportFilters(const Tuning& tuning, const std::filesystem::path& file,
                                double sampleRate)
{
    const auto ending = file.extension();
    if (ending == ".txt")
        return files::writeTextFile(file, filterTableText(tuning));
    if (ending == ".csv")
        return files::writeTextFile(file, filterTableCsv(tuning));
    if (ending == ".json")
        return files::writeTextFile(file, files::jsonText(filterBiquadsJson(tuning, sampleRate)));
    return dsp::fail(dsp::ErrorCode::unsupported,
                     "'" + file.string()
                         + "' has to end in .txt (table to print), .csv (table) or .json "
                           "(biquad coefficients)");
}

} // namespace saddletone::tuning
