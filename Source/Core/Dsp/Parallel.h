#pragma once

#include <cstddef>
#include <functional>

namespace saddletone::dsp {

/** Runs task(0) to task(numTasks - 1) on as many threads as the processor has, this one among them,
    and returns when all are done. Tasks are handed out in order; they must not depend on each other
    and must not write to the same place, so that the result is that of running them one by one. If
    one throws, the rest of them may be left out, and what it threw is thrown here. Not for the audio
    thread. */
void runInParallel(std::size_t numTasks, const std::function<void(std::size_t)>& task);

} // namespace saddletone::dsp
