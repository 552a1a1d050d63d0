#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::files {

/** A table of frequency against level and perhaps phase. */
struct FrequencyTable {
    std::vector<double> frequenciesHz; ///< Ascending, above 0.
    std::vector<double> levelsDb;
    std::vector<double> phasesRadians; ///< Empty if the table has no third column.

    /** Level at a frequency: linear in dB over log frequency, the end values beyond the ends. */
    [[nodiscard]] double levelDbAt(double frequencyHz) const noexcept;
};

/** Reads a table of two or three columns: frequency in Hz, level in dB, phase in degrees.
    Lines that begin with '*' or ';' are comments, and so is what follows a '#', and up to 30 lines in
    front of the numbers that do not begin with one; columns are set apart by tabs, spaces, semicolons
    or commas; decimals have a dot or, where the columns are not set apart by commas, a comma. A table
    whose commas may be either is refused. */
[[nodiscard]] dsp::Result<FrequencyTable> readFrequencyTable(const std::filesystem::path& file);

/** The same from text; source names it in messages. */
[[nodiscard]] dsp::Result<FrequencyTable> parseFrequencyTable(const std::string& text,
                                                              const std::string& source);

/** Text of a CSV table: a header row, then rows of numbers with a dot and so many decimals. Every
    column has the same length. */
[[nodiscard]] std::string csvText(const std::vector<std::string>& header,
                                  const std::vector<std::vector<double>>& columns,
                                  int decimals = 3);

/** A number with a dot and a fixed number of decimals, whatever the locale. */
[[nodiscard]] std::string fixedText(double value, int decimals);

} // namespace saddletone::files
