#include "Support/MessageLoop.h"

#include <juce_events/juce_events.h>

#include <chrono>
#include <thread>

namespace juce {

/** What JUCE's own loop over a time calls, which is left out where modal loops are not allowed, as
    in the plug-in. False: nothing was waiting. */
bool dispatchNextMessageOnSystemQueue(bool returnIfNoPendingMessages);

} // namespace juce

namespace saddletone::test {

void runMessages(int milliseconds)
{
    const auto end = std::chrono::steady_clock::now() + std::chrono::milliseconds(milliseconds);
    while (std::chrono::steady_clock::now() < end)
        if (!juce::dispatchNextMessageOnSystemQueue(true))
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
}

} // namespace saddletone::test
