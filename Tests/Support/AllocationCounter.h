#pragma once

#include <cstddef>

namespace saddletone::test {

/** Counts what this thread asks of the heap through operator new and delete from its construction
    on. Other threads do not count; memory that C libraries take with malloc does not either. */
class AllocationCounter {
public:
    AllocationCounter() noexcept;

    [[nodiscard]] std::size_t numAllocations() const noexcept;
    [[nodiscard]] std::size_t numReleases() const noexcept;
    [[nodiscard]] std::size_t numHeapCalls() const noexcept
    {
        return numAllocations() + numReleases();
    }

private:
    std::size_t allocationsAtStart;
    std::size_t releasesAtStart;
};

} // namespace saddletone::test
