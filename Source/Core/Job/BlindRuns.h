#pragma once

#include "Core/Audition/BlindTest.h"
#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"

#include <filesystem>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::job {

[[nodiscard]] nlohmann::json blindRunToJson(const audition::BlindRun& run);

/** source: what error messages call the document; path: where in it the run stands. */
[[nodiscard]] dsp::Result<audition::BlindRun> blindRunFromJson(const nlohmann::json& json,
                                                               const std::string& source,
                                                               const std::string& path = "");

/** The blind runs a job keeps, in the order in which they were made. */
[[nodiscard]] dsp::Result<std::vector<audition::BlindRun>> blindRunsOf(const Job& job);

/** Adds a run to job.json as it is on the disk now; everything else in it stays. */
[[nodiscard]] dsp::Result<void> storeBlindRun(const std::filesystem::path& folder,
                                              const audition::BlindRun& run);

} // namespace saddletone::job
