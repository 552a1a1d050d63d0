#pragma once

#include "Core/Audition/AuditionEngine.h"
#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"
#include "Core/Report/ReportContent.h"

#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::job {

/** A rendered audition that a report mentions. */
struct JobReportFile {
    std::string name;                                ///< As it is to be shown.
    audition::AuditionEngine::Parameters parameters; ///< It was rendered with.
};

/** What a report needs beside the job. */
struct JobReportOptions {
    std::string dateText; ///< Shown as it is: a report of the same job is the same, to the byte.
    std::string question; ///< Empty: the usual one.
    std::vector<double> speedsMph {0.0, 45.0, 75.0}; ///< Ascending, 0 to 155; the last is drawn.
    std::vector<JobReportFile> files;
};

/** Loads the job's states and tunings and works out everything a report shows. Levels are those of
    the audition engine, with kernels at 48 kHz. */
[[nodiscard]] dsp::Result<report::ReportContent> makeReportContent(const Job& job,
                                                                   const JobReportOptions& options);

/** The CSV of all curves that belongs to a report: NAME.curves.csv beside NAME.html. */
[[nodiscard]] std::filesystem::path curvesFileFor(const std::filesystem::path& htmlFile);

/** Writes the report and, before it, the CSV of its curves; each appears whole or not at all. */
[[nodiscard]] dsp::Result<void> writeJobReport(const Job& job,
                                               const std::filesystem::path& htmlFile,
                                               const JobReportOptions& options);

} // namespace saddletone::job
