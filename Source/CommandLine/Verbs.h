#pragma once

#include "Core/Dsp/Result.h"

#include <functional>
#include <string>
#include <variant>

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>

namespace saddletone::commandline {

/** Exit codes of the program: a contract with scripts. */
enum class ExitCode { done = 0, notGoodEnough = 1, wrongUsage = 2, internalFault = 3 };

/** What a verb has to say: text for people and the same as JSON for programs. */
struct Output {
    std::string text;
    nlohmann::json json = nlohmann::json::object();
};

/** How a verb ended when it did not succeed. */
struct Failure {
    ExitCode exitCode = ExitCode::notGoodEnough;
    std::string message;
};

/** The verb chosen on the command line, run after parsing. */
using Action = std::function<std::variant<Output, Failure>()>;

/** Options every verb shares. */
struct Shared {
    bool json = false;
    Action action;
};

/** A failure of the input; the exit code for its kind. */
[[nodiscard]] Failure inputFailure(const dsp::Error& error);
/** A failure of the arguments. */
[[nodiscard]] Failure usageFailure(const std::string& message);

/** Shows a step on stderr when that is a terminal. */
void showProgress(const std::string& step);

void addSignalVerbs(CLI::App& app, Shared& shared);   // signal, tracks
void addMeasureVerbs(CLI::App& app, Shared& shared);  // measure, analyse, compare
void addCalibrateVerb(CLI::App& app, Shared& shared); // calibrate
void addTuningVerbs(CLI::App& app, Shared& shared);   // predict, export
void addImportVerb(CLI::App& app, Shared& shared);    // import
void addFitVerbs(CLI::App& app, Shared& shared);      // fit
void addCostVerbs(CLI::App& app, Shared& shared);     // cost, verify
void addVerdictVerbs(CLI::App& app, Shared& shared);  // tone-controls, verdict
void addListenVerb(CLI::App& app, Shared& shared);    // listen
void addOverdriveVerb(CLI::App& app, Shared& shared); // overdrive
void addTakeHomeVerb(CLI::App& app, Shared& shared);  // take-home
void addRideVerb(CLI::App& app, Shared& shared);      // ride
void addTextureVerbs(CLI::App& app, Shared& shared);  // texture
void addHearingVerbs(CLI::App& app, Shared& shared);  // audibility, exposure
void addSeatVerbs(CLI::App& app, Shared& shared);     // headphone, headphone-level, placement
void addBlindVerb(CLI::App& app, Shared& shared);     // blind
void addPresetsVerb(CLI::App& app, Shared& shared);   // presets
void addJobVerbs(CLI::App& app, Shared& shared);      // job, report, demo
/** Adds `events` to the verb `job`. */
void addJobEventsVerb(CLI::App& job, Shared& shared);
/** Adds `ride` to the verb `job`. */
void addJobRideVerb(CLI::App& job, Shared& shared);
/** Adds `report` to the verb `job`. */
void addJobReportVerb(CLI::App& job, Shared& shared);
/** Adds `seat` to the verb `job`. */
void addJobSeatVerb(CLI::App& job, Shared& shared);
/** Adds `copy`, `archive`, `unpack` and `recover` to the verb `job`. */
void addJobFolderVerbs(CLI::App& job, Shared& shared);

} // namespace saddletone::commandline
