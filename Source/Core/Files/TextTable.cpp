#include "Core/Files/TextTable.h"

#include "Core/Files/AtomicFile.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <charconv>
#include <cmath>
#include <numbers>
#include <optional>
#include <string_view>

namespace saddletone::files {

namespace {

std::string_view trimmed(std::string_view text)
{
    constexpr std::string_view blanks = " \t\r\n\xEF\xBB\xBF"; // with the byte order mark
    const auto first = text.find_first_not_of(blanks);
    if (first == std::string_view::npos)
        return {};
    return text.substr(first, text.find_last_not_of(blanks) - first + 1);
}

std::optional<double> toNumber(std::string_view text)
{
    text = trimmed(text);
    if (text.starts_with('+'))
        text.remove_prefix(1);
    double value = 0.0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size())
        return std::nullopt;
    return value;
}

std::vector<std::string> splitAt(std::string_view line, std::string_view separators, bool mergeRuns)
{
    std::vector<std::string> fields;
    std::size_t begin = 0;
    while (begin <= line.size()) {
        const auto end = std::min(line.find_first_of(separators, begin), line.size());
        if (const auto field = trimmed(line.substr(begin, end - begin));
            !field.empty() || !mergeRuns)
            fields.emplace_back(field);
        begin = end + 1;
    }
    return fields;
}

/** Fields of one line with decimal points. A semicolon or tab decides the columns, and then a
    comma is a decimal; else, if blanks alone give two or more fields, the same; else a comma sets
    the columns apart. */
std::vector<std::string> fieldsOf(std::string_view line)
{
    std::vector<std::string> fields;
    if (line.find(';') != std::string_view::npos) {
        fields = splitAt(line, ";", false);
    } else if (line.find('\t') != std::string_view::npos) {
        fields = splitAt(line, "\t ", true);
    } else {
        // "100, 3.5" has blanks, yet its commas end the fields.
        const bool commaEndsField = line.find(", ") != std::string_view::npos
                                    || line.find(" ,") != std::string_view::npos
                                    || line.find(' ') == std::string_view::npos;
        if (commaEndsField)
            return splitAt(line, ",", false);
        fields = splitAt(line, " ", true);
    }
    for (std::string& field : fields)
        std::ranges::replace(field, ',', '.');
    return fields;
}

/** Whether a line may be of a frequency and a level, each with a comma for its decimals and one more
    between them; read as four columns it would give wrong numbers without a word. */
bool hasCommasOnly(std::string_view line)
{
    return line.find_first_of(";\t .") == std::string_view::npos
           && std::ranges::count(line, ',') == 3;
}

} // namespace

double FrequencyTable::levelDbAt(double frequencyHz) const noexcept
{
    assert(!frequenciesHz.empty());
    if (frequencyHz <= frequenciesHz.front())
        return levelsDb.front();
    if (frequencyHz >= frequenciesHz.back())
        return levelsDb.back();
    const auto above = static_cast<std::size_t>(std::ranges::upper_bound(frequenciesHz, frequencyHz)
                                                - frequenciesHz.begin());
    const double position = std::log(frequencyHz / frequenciesHz[above - 1])
                            / std::log(frequenciesHz[above] / frequenciesHz[above - 1]);
    return levelsDb[above - 1] + position * (levelsDb[above] - levelsDb[above - 1]);
}

dsp::Result<FrequencyTable> parseFrequencyTable(const std::string& text, const std::string& source)
{
    FrequencyTable table;
    std::size_t lineNumber = 0;
    std::size_t numColumns = 0;
    // Instruments put a block of words in front of their numbers; a whole text of words is no table.
    constexpr std::size_t mostHeaderLines = 30;
    std::size_t numHeaderLines = 0;
    bool isAmbiguous = true;
    if (text.find('\0') != std::string::npos)
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + source
                             + "' is no plain text (it holds zero bytes); export the table as text "
                               "or CSV in UTF-8");
    const auto problem = [&](dsp::ErrorCode code, const std::string& reason) {
        return dsp::fail(code,
                         "'" + source + "', line " + std::to_string(lineNumber) + ": " + reason);
    };

    for (const std::string& rawLine : splitAt(text, "\n", false)) {
        ++lineNumber;
        const std::string_view line =
            trimmed(std::string_view(rawLine).substr(0, rawLine.find('#')));
        if (line.empty() || line.front() == '*' || line.front() == ';')
            continue;
        auto fields = fieldsOf(line);
        if (fields.size() > 2 && fields.back().empty())
            fields.pop_back(); // a separator at the line's end
        std::vector<double> numbers;
        for (const std::string& field : fields)
            if (const auto number = toNumber(field))
                numbers.push_back(*number);
        // Titles of columns may hold numbers ("mean 500 Hz to 2 kHz"), but do not begin with one.
        if (!toNumber(fields.front()) && table.frequenciesHz.empty()
            && numHeaderLines < mostHeaderLines) {
            ++numHeaderLines;
            continue;
        }
        if (numbers.size() != fields.size() || fields.size() < 2)
            return problem(
                dsp::ErrorCode::malformed,
                "'" + std::string(line)
                    + "' is not a frequency, a level and perhaps a phase; write '#' before "
                      "a comment");
        const std::size_t columns = std::min<std::size_t>(fields.size(), 3);
        if (numColumns == 0)
            numColumns = columns;
        if (columns != numColumns)
            return problem(dsp::ErrorCode::malformed,
                           "has another number of columns than the lines before");
        for (const double number : numbers)
            if (!std::isfinite(number))
                return problem(dsp::ErrorCode::outOfRange,
                               "holds a value that is not a finite number");
        if (!(numbers[0] > 0.0) || numbers[0] > 1.0e6)
            return problem(dsp::ErrorCode::outOfRange,
                           "the frequency must be above 0 and at most 1 MHz");
        if (!table.frequenciesHz.empty() && numbers[0] <= table.frequenciesHz.back())
            return problem(dsp::ErrorCode::outOfRange,
                           "the frequencies must rise from line to line");
        if (std::abs(numbers[1]) > 300.0)
            return problem(dsp::ErrorCode::outOfRange,
                           "the level must lie between -300 and 300 dB");
        // A delay of a second turns 20 kHz by 7 million degrees.
        if (numColumns == 3 && std::abs(numbers[2]) > 1.0e9)
            return problem(dsp::ErrorCode::outOfRange,
                           "the phase must lie between -1e9 and 1e9 degrees");
        isAmbiguous = isAmbiguous && hasCommasOnly(line);
        table.frequenciesHz.push_back(numbers[0]);
        table.levelsDb.push_back(numbers[1]);
        if (numColumns == 3)
            table.phasesRadians.push_back(numbers[2] * std::numbers::pi / 180.0);
    }
    if (table.frequenciesHz.empty())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + source
                             + "' holds no line with numbers; a line needs a frequency in Hz and a "
                               "level in dB, set apart by a tab, blanks, ';' or ','");
    if (isAmbiguous)
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + source
                             + "' has three commas in every line and no dot, so that decimals and "
                               "columns cannot be told apart; export it with ';' or tabs between "
                               "columns, or with decimal dots");
    return table;
}

dsp::Result<FrequencyTable> readFrequencyTable(const std::filesystem::path& file)
{
    const auto text = readTextFile(file);
    if (!text)
        return text.unexpected();
    return parseFrequencyTable(*text, file.string());
}

std::string fixedText(double value, int decimals)
{
    std::array<char, 400> buffer {}; // the largest double has 309 digits before its point
    const auto result = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value,
                                      std::chars_format::fixed, std::clamp(decimals, 0, 17));
    std::string text(buffer.data(), result.ptr);
    // "-0.0" tells nothing that "0.0" does not.
    if (text.starts_with('-') && text.find_first_not_of("-0.") == std::string::npos)
        text.erase(0, 1);
    return text;
}

std::string csvText(const std::vector<std::string>& header,
                    const std::vector<std::vector<double>>& columns, int decimals)
{
    assert(header.size() == columns.size() && !columns.empty());
    std::string text;
    for (std::size_t column = 0; column < header.size(); ++column)
        text += (column == 0 ? "" : ",") + header[column];
    text += "\n";
    for (std::size_t row = 0; row < columns.front().size(); ++row) {
        for (std::size_t column = 0; column < columns.size(); ++column)
            text += (column == 0 ? "" : ",") + fixedText(columns[column][row], decimals);
        text += "\n";
    }
    return text;
}

} // namespace saddletone::files
