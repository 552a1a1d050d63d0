#pragma once

#include <cstddef>

namespace saddletone::test {

/** Counts the POSIX mutexes and read-write locks that this thread asks for from its construction
    on. LockCounter.cpp puts the functions in front of the C library's, so that calls of std::mutex
    and of libraries such as FFTW pass through it too. */
class LockCounter {
public:
    LockCounter() noexcept;

    [[nodiscard]] std::size_t numLocks() const noexcept;

    /** False where locks cannot be counted: on other systems and under a thread sanitizer, which
        stands in that place itself. */
    [[nodiscard]] static bool isAvailable() noexcept;

private:
    std::size_t locksAtStart;
};

} // namespace saddletone::test
