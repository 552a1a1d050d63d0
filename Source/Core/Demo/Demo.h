#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace saddletone::demo {

/** An audition that the demo wrote. */
struct DemoAudition {
    std::filesystem::path file;
    std::string what; ///< In words.
    double speedMph = 0.0;
    double programmeSplDba = 0.0;
    double noiseSplDba = 0.0; ///< dsp::silenceDb when parked.
};

/** What the demo left behind. */
struct DemoResult {
    std::filesystem::path jobFolder;
    std::filesystem::path report;
    std::vector<DemoAudition> auditions;
};

/** Told of each step in words before it begins, with the share of all that is done, 0 to 1. Returns
    whether to go on. */
using DemoProgress = std::function<bool(const std::string& step, double doneProportion)>;

inline constexpr const char* demoCancelledMessage = "cancelled; the demo is not complete";

/** Goes through a whole job of an invented shop and an invented bike, with the same code that serves
    a real one: writes test tracks, lets a simulated bike play them to a simulated recorder, measures
    the recordings, sets up a job, renders auditions at 0, 45 and 75 mph and writes the report.
    Everything is labelled as invented. Programme material is synthesised. dateText: today, as
    2026-05-01; shown in the report. A refusal by progress fails with demoCancelledMessage; what was
    written until then stays. Takes some seconds and about 120 MB in folder. */
[[nodiscard]] dsp::Result<DemoResult> runDemo(const std::filesystem::path& folder,
                                              const std::string& dateText,
                                              const DemoProgress& progress);

} // namespace saddletone::demo
