#pragma once

#include "Core/Audition/EventRecord.h"

#include <string>

namespace saddletone::report {

/** "1 listener", "12 listeners". */
[[nodiscard]] std::string listenerWords(std::size_t numListeners);

/** "1 As delivered: 3 times; 2 Less boom: once; 3 More treble: never". */
[[nodiscard]] std::string likedWords(const audition::EventRecord& record);

/** "5 of 12 gave no answer; as loud as on the bike". */
[[nodiscard]] std::string eventConditionWords(const audition::EventRecord& record);

/** What counts of an event do not say. */
[[nodiscard]] std::string eventCaution();

} // namespace saddletone::report
