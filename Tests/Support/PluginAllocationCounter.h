#pragma once

#include <cstddef>

namespace saddletone::test {

/** Counts what this thread takes from operator new while the object lives. The operators are
    replaced in PluginAllocationCounter.cpp, for the whole test program. */
class AllocationCounter {
public:
    AllocationCounter() noexcept;

    [[nodiscard]] std::size_t count() const noexcept;

private:
    std::size_t countBefore;
};

} // namespace saddletone::test
