#include "Support/AllocationCounter.h"

#include <algorithm>
#include <cstdlib>
#include <new>

namespace {

thread_local std::size_t allocations = 0;
thread_local std::size_t releases = 0;

void* allocate(std::size_t bytes)
{
    ++allocations;
    void* const memory = std::malloc(std::max<std::size_t>(bytes, 1));
    if (memory == nullptr)
        throw std::bad_alloc();
    return memory;
}

void* allocate(std::size_t bytes, std::size_t alignment)
{
    ++allocations;
    // aligned_alloc() wants a whole number of alignments.
    const std::size_t whole = (std::max<std::size_t>(bytes, 1) + alignment - 1) / alignment;
    void* const memory = std::aligned_alloc(alignment, whole * alignment);
    if (memory == nullptr)
        throw std::bad_alloc();
    return memory;
}

void release(void* memory) noexcept
{
    if (memory == nullptr)
        return;
    ++releases;
    std::free(memory);
}

template <typename... Arguments>
void* allocateOrNull(Arguments... arguments) noexcept
{
    try {
        return allocate(arguments...);
    } catch (const std::bad_alloc&) {
        return nullptr;
    }
}

} // namespace

// All forms: in the standard library they come down to the first of each kind, but not where sanitizers
// bring their own.

void* operator new(std::size_t bytes)
{
    return allocate(bytes);
}

void* operator new[](std::size_t bytes)
{
    return allocate(bytes);
}

void* operator new(std::size_t bytes, const std::nothrow_t&) noexcept
{
    return allocateOrNull(bytes);
}

void* operator new[](std::size_t bytes, const std::nothrow_t&) noexcept
{
    return allocateOrNull(bytes);
}

void* operator new(std::size_t bytes, std::align_val_t alignment)
{
    return allocate(bytes, static_cast<std::size_t>(alignment));
}

void* operator new[](std::size_t bytes, std::align_val_t alignment)
{
    return allocate(bytes, static_cast<std::size_t>(alignment));
}

void* operator new(std::size_t bytes, std::align_val_t alignment, const std::nothrow_t&) noexcept
{
    return allocateOrNull(bytes, static_cast<std::size_t>(alignment));
}

void* operator new[](std::size_t bytes, std::align_val_t alignment, const std::nothrow_t&) noexcept
{
    return allocateOrNull(bytes, static_cast<std::size_t>(alignment));
}

void operator delete(void* memory) noexcept
{
    release(memory);
}

void operator delete[](void* memory) noexcept
{
    release(memory);
}

void operator delete(void* memory, std::size_t) noexcept
{
    release(memory);
}

void operator delete[](void* memory, std::size_t) noexcept
{
    release(memory);
}

void operator delete(void* memory, const std::nothrow_t&) noexcept
{
    release(memory);
}

void operator delete[](void* memory, const std::nothrow_t&) noexcept
{
    release(memory);
}

void operator delete(void* memory, std::align_val_t) noexcept
{
    release(memory);
}

void operator delete[](void* memory, std::align_val_t) noexcept
{
    release(memory);
}

void operator delete(void* memory, std::size_t, std::align_val_t) noexcept
{
    release(memory);
}

void operator delete[](void* memory, std::size_t, std::align_val_t) noexcept
{
    release(memory);
}

void operator delete(void* memory, std::align_val_t, const std::nothrow_t&) noexcept
{
    release(memory);
}

void operator delete[](void* memory, std::align_val_t, const std::nothrow_t&) noexcept
{
    release(memory);
}

namespace saddletone::test {

AllocationCounter::AllocationCounter() noexcept
    : allocationsAtStart(allocations), releasesAtStart(releases)
{
}

std::size_t AllocationCounter::numAllocations() const noexcept
{
    return allocations - allocationsAtStart;
}

std::size_t AllocationCounter::numReleases() const noexcept
{
    return releases - releasesAtStart;
}

} // namespace saddletone::test
