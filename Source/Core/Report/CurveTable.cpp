#include "Core/Report/CurveTable.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Files/TextTable.h"
#include "Core/Report/Wording.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace saddletone::report {

namespace {

/** A header cell by RFC 4180; line breaks would end the row for simpler readers. */
std::string headerCell(const std::string& text)
{
    std::string cell = "\"";
    for (const char character : text) {
        if (character == '"')
            cell += '"';
        cell += character == '\n' || character == '\r' ? ' ' : character;
    }
    return cell + "\"";
}

/** Values at the rows' frequencies; NaN where the curve has no point within 1.1 % of one, which
    is how far nominal and exact mid-bands lie apart. */
std::vector<double> columnOf(const std::vector<double>& rowsHz,
                             const std::vector<double>& frequenciesHz,
                             const std::vector<double>& values)
{
    constexpr double nominalTolerance = 0.011;
    std::vector<double> column(rowsHz.size(), std::numeric_limits<double>::quiet_NaN());
    for (std::size_t row = 0; row < rowsHz.size(); ++row)
        for (std::size_t index = 0; index < std::min(frequenciesHz.size(), values.size()); ++index)
            if (std::abs(frequenciesHz[index] / rowsHz[row] - 1.0) < nominalTolerance)
                column[row] = values[index];
    return column;
}

} // namespace

std::string curvesCsv(const ReportContent& content)
{
    std::vector<double> rowsHz;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        rowsHz.push_back(band.centreHz);
    std::vector<std::string> header {headerCell("Frequency (Hz)")};
    std::vector<std::vector<double>> columns {rowsHz};
    const auto add = [&](const std::string& name, const Curve& curve,
                         const std::vector<double>& values) {
        header.push_back(headerCell(name));
        columns.push_back(columnOf(rowsHz, curve.frequenciesHz, values));
    };
    const std::string shape = " (dB re mean 500 Hz to 2 kHz)";
    for (const ReportState& state : content.states)
        add(marked(state.curve.mark, state.name) + ": measured" + shape, state.curve,
            state.curve.levelsDb);
    for (const ReportState& state : content.states)
        add(marked(state.curve.mark, state.name) + ": standard deviation (dB)", state.curve,
            state.uncertaintiesDb);
    for (const ReportComparison& entry : content.comparisons) {
        Curve difference;
        for (const measure::BandDifference& band : entry.comparison.bands) {
            difference.frequenciesHz.push_back(band.frequencyHz);
            difference.levelsDb.push_back(band.trusted ? band.differenceDb
                                                       : std::numeric_limits<double>::quiet_NaN());
        }
        add(entry.otherName + " less " + entry.parkedName + ": measured difference (dB)",
            difference, difference.levelsDb);
    }
    for (const ReportCandidate& candidate : content.candidates)
        add(marked(candidate.curve.mark, candidate.name) + ": calculated" + shape, candidate.curve,
            candidate.curve.levelsDb);
    for (const ReportCandidate& candidate : content.candidates)
        add(marked(candidate.curve.mark, candidate.name)
                + ": octaves at the ear, parked, estimate (dB SPL)",
            candidate.octaveLevels, candidate.octaveLevels.levelsDb);
    for (const ReportRide& ride : content.rides)
        if (ride.noiseSplDba)
            add("Noise, " + speedWords(ride.speedKmh, content.speedUnits) + ": octaves at the ear, "
                    + (content.noiseIsMeasured ? "recorded" : "estimate") + " (dB SPL)",
                ride.noiseOctaveLevels, ride.noiseOctaveLevels.levelsDb);

    std::string text = files::csvText(header, columns);
    // What is not a number is nothing, and not a word in a column of numbers.
    const std::string blank = ",";
    for (const std::string word : {",nan", ",-nan"})
        for (auto found = text.find(word, text.find('\n')); found != std::string::npos;
             found = text.find(word, found))
            text.replace(found, word.size(), blank);
    return text;
}

} // namespace saddletone::report
