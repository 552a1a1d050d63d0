#pragma once

#include "Core/Audition/AuditionEngine.h"
#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"
#include "Core/Report/ReportContent.h"

#include <filesystem>
#include <functional>
#include <optional>
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
    std::string question; ///< Empty: the job's, or else the usual one.
    /** Ascending, 0 to 250, at most JobReportStyle::mostSpeeds; empty: the job's. The last is
        drawn. */
    std::vector<double> speedsKmh;
    std::optional<report::SpeedUnits> speedUnits; ///< None: the job's.
    std::vector<JobReportFile> files;
};

/** Is told the share that is done, 0 to 1; false cancels. */
using ReportProgress = std::function<bool(double)>;

/** What the error says when progress returned false. */
inline constexpr const char* reportCancelledMessage = "cancelled; no report was written";

/** Loads the job's states and tunings and works out everything a report shows. Levels are those of
    the audition engine, with kernels at 48 kHz. Takes some seconds. */
[[nodiscard]] dsp::Result<report::ReportContent>
makeReportContent(const Job& job, const JobReportOptions& options,
                  const ReportProgress& progress = {});

/** What writeJobReport() wrote. */
struct WrittenReport {
    std::filesystem::path html;     ///< Two pages for the customer.
    std::filesystem::path appendix; ///< The rest: NAME.appendix.html beside NAME.html.
    std::filesystem::path curves;   ///< All curves: NAME.curves.csv beside NAME.html.
};

/** The files of a report of that name. */
[[nodiscard]] WrittenReport reportFilesFor(const std::filesystem::path& htmlFile);

/** Writes the report and, before it, its appendix and the CSV of its curves; each appears whole or
    not at all. Nothing is written where progress returned false. */
[[nodiscard]] dsp::Result<WrittenReport> writeJobReport(const Job& job,
                                                        const std::filesystem::path& htmlFile,
                                                        const JobReportOptions& options,
                                                        const ReportProgress& progress = {});

/** The same of the job in a folder. */
[[nodiscard]] dsp::Result<WrittenReport> writeJobReport(const std::filesystem::path& jobFolder,
                                                        const std::filesystem::path& htmlFile,
                                                        const JobReportOptions& options,
                                                        const ReportProgress& progress = {});

} // namespace saddletone::job
