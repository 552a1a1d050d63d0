#include "Core/Dsp/Parallel.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace saddletone::dsp {

void runInParallel(std::size_t numTasks, const std::function<void(std::size_t)>& task)
{
    const std::size_t numThreads =
        std::min<std::size_t>(numTasks, std::max(1U, std::thread::hardware_concurrency()));
    std::atomic<std::size_t> next {0};
    std::exception_ptr thrown;
    std::mutex thrownLock;
    const auto work = [&] {
        for (std::size_t index = next++; index < numTasks; index = next++)
            try {
                task(index);
            } catch (...) {
                next = numTasks;
                const std::lock_guard guard(thrownLock);
                if (!thrown)
                    thrown = std::current_exception();
            }
    };
    {
        std::vector<std::jthread> others;
        for (std::size_t index = 1; index < numThreads; ++index)
            others.emplace_back(work);
        work();
    }
    if (thrown)
        std::rethrow_exception(thrown);
}

} // namespace saddletone::dsp
