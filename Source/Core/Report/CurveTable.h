#pragma once

#include "Core/Report/ReportContent.h"

#include <string>

namespace saddletone::report {

/** CSV of all curves of a report: exact mid-bands of the third octaves from 20 Hz to 20 kHz, then
    one column a curve with its unit in the header. A cell is empty where nothing is known. Octave
    levels stand in the rows of their mid-bands. */
[[nodiscard]] std::string curvesCsv(const ReportContent& content);

} // namespace saddletone::report
