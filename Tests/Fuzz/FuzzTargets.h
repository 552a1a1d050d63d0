#pragma once

#include <cstdint>
#include <span>

namespace saddletone::test {

/** Bytes of an input as a file from outside may hold them. */
using FuzzInput = std::span<const std::uint8_t>;

// Each takes any input as one kind of file and ends the process if a promise is broken: what is
// taken is within its stated ranges, and comes back the same when it is written and read again.

void fuzzAudioFile(FuzzInput input);         ///< What readAudioFile() opens.
void fuzzJob(FuzzInput input);               ///< job.json.
void fuzzHostState(FuzzInput input);         ///< What a host keeps of the plug-in.
void fuzzSignalDescription(FuzzInput input); ///< NAME.signal.json.
void fuzzTextTable(FuzzInput input);         ///< A table of frequency, level and phase.
void fuzzTuning(FuzzInput input);            ///< TUNING.json.

} // namespace saddletone::test
