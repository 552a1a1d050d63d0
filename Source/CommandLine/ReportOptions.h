#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Report/SpeedUnits.h"

#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

namespace saddletone::commandline {

/** The options that say how a report shows a job, alike for the job and for one report of it. */
struct ReportOptions {
    std::string question;
    std::string units;
    std::vector<double> mph;
    std::vector<double> kmh;

    /** In km/h; empty: not given. */
    [[nodiscard]] std::vector<double> speedsKmh() const;
    /** None: not given. Fails if the word is not known. */
    [[nodiscard]] dsp::Result<std::optional<report::SpeedUnits>> speedUnits() const;
};

/** Adds them to a verb; options must outlive it. */
void addReportOptions(CLI::App& verb, ReportOptions& options);

} // namespace saddletone::commandline
