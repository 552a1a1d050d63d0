#include "Support/KilledProcess.h"

#include <chrono>
#include <csignal>
#include <new>
#include <stdexcept>
#include <thread>

#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

namespace saddletone::test {

SharedNumber::SharedNumber()
{
    static_assert(std::atomic<std::uint64_t>::is_always_lock_free);
    void* const memory =
        mmap(nullptr, sizeof *place, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (memory == MAP_FAILED)
        throw std::runtime_error("cannot share memory with a child process");
    place = new (memory) std::atomic<std::uint64_t>(0);
}

SharedNumber::~SharedNumber()
{
    munmap(place, sizeof *place);
}

ChildProcess::ChildProcess(const std::function<void()>& work) : process(fork())
{
    if (process < 0)
        throw std::runtime_error("cannot start a child process");
    if (process == 0) {
        work();
        _exit(0); // Nothing of the parent's is to be ended or removed.
    }
}

ChildProcess::~ChildProcess()
{
    kill();
}

bool ChildProcess::kill() noexcept
{
    if (!isThere)
        return false;
    isThere = false;
    ::kill(process, SIGKILL);
    int status = 0;
    waitpid(process, &status, 0);
    return WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL;
}

bool waitFor(const SharedNumber& number, std::uint64_t atLeast)
{
    constexpr int numTries = 30'000;
    for (int left = numTries; left > 0; --left) {
        if (number.get() >= atLeast)
            return true;
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return false;
}

} // namespace saddletone::test
