#pragma once

namespace saddletone::test {

/** Has messages and timers of JUCE come in for a while; on the message thread. */
void runMessages(int milliseconds);

} // namespace saddletone::test
