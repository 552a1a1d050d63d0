#pragma once

#include "Core/Audition/EventRecord.h"
#include "Core/Dsp/Result.h"

#include <filesystem>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::job {

/** Beside job.json, as it is written with each listener and job.json is not. */
inline constexpr const char* eventsFileName = "events.json";

[[nodiscard]] nlohmann::json eventToJson(const audition::EventRecord& record);

/** The events of a job, in the order in which they began; none if it has no file of them. */
[[nodiscard]] dsp::Result<std::vector<audition::EventRecord>>
loadEvents(const std::filesystem::path& folder);

/** Puts an event in the place of the one that began at the same time, or behind all. Everything else
    in the file stays; a file that cannot be read is left as it is. */
[[nodiscard]] dsp::Result<void> storeEvent(const std::filesystem::path& folder,
                                           const audition::EventRecord& record);

} // namespace saddletone::job
