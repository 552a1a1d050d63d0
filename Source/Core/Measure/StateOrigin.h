#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/TakeRecord.h"

#include <filesystem>
#include <string>

namespace saddletone::measure {

/** When and with what a state was recorded; kept in STATE.json beside the response. */
struct StateOrigin {
    std::string measuredOn; ///< Day of the recording, 2026-05-01; empty = not known.
    std::string microphone; ///< Words for microphone and recorder; empty = not known.

    bool operator==(const StateOrigin&) const = default;
};

/** What a take's record says of it. */
[[nodiscard]] StateOrigin originOf(const TakeRecord& record);

/** Reads the origin out of a STATE.json; both fields are empty where it says nothing. Refused: what
    is no day. */
[[nodiscard]] dsp::Result<StateOrigin> loadOrigin(const std::filesystem::path& stateFile);

/** Adds the origin to a STATE.json that saveResponse() wrote; empty fields leave what is there. */
[[nodiscard]] dsp::Result<void> noteOrigin(const StateOrigin& origin,
                                           const std::filesystem::path& stateFile);

} // namespace saddletone::measure
