#include "Core/Dsp/LargeMemory.h"

#include <algorithm>
#include <cstdint>
#include <new>

#if defined(__linux__)
#include <sys/mman.h>
#endif

namespace saddletone::dsp {

namespace {

constexpr std::align_val_t vectorAlignment {64};

} // namespace

#if defined(__linux__)

namespace {

constexpr std::size_t largePageBytes = std::size_t {1} << 21U; // of x86-64 and of most ARM systems
// From half a page on: what a page holds too much costs less than five hundred page faults.
constexpr std::size_t leastMappedBytes = largePageBytes / 2;

std::size_t roundedUp(std::size_t numBytes)
{
    return (numBytes + largePageBytes - 1) / largePageBytes * largePageBytes;
}

} // namespace

void* allocateZeroed(std::size_t numBytes)
{
    if (numBytes < leastMappedBytes) {
        void* const memory = ::operator new(std::max<std::size_t>(1, numBytes), vectorAlignment);
        std::fill_n(static_cast<std::byte*>(memory), numBytes, std::byte {});
        return memory;
    }
    // A page more than needed, so that a whole number of pages lies at the right place in it; what
    // is left over at either end goes back.
    const std::size_t length = roundedUp(numBytes);
    void* const mapped = ::mmap(nullptr, length + largePageBytes, PROT_READ | PROT_WRITE,
                                MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (mapped == MAP_FAILED)
        throw std::bad_alloc();
    auto* const first = static_cast<std::byte*>(mapped);
    const auto address = reinterpret_cast<std::uintptr_t>(mapped);
    const std::size_t before = roundedUp(address) - address;
    if (before > 0)
        ::munmap(first, before);
    ::munmap(first + before + length, largePageBytes - before);
    ::madvise(first + before, length, MADV_HUGEPAGE);
    return first + before;
}

void releaseMemory(void* memory, std::size_t numBytes) noexcept
{
    if (memory == nullptr)
        return;
    if (numBytes < leastMappedBytes)
        ::operator delete(memory, vectorAlignment);
    else
        ::munmap(memory, roundedUp(numBytes));
}

void preferLargePages(void* memory, std::size_t numBytes) noexcept
{
    // Whole large pages only; the kernel wants its own pages' boundaries at least.
    const auto address = reinterpret_cast<std::uintptr_t>(memory);
    const std::size_t before = roundedUp(address) - address;
    if (numBytes < before + largePageBytes)
        return;
    ::madvise(static_cast<std::byte*>(memory) + before,
              (numBytes - before) / largePageBytes * largePageBytes, MADV_HUGEPAGE);
}

#else

void* allocateZeroed(std::size_t numBytes)
{
    void* const memory = ::operator new(std::max<std::size_t>(1, numBytes), vectorAlignment);
    std::fill_n(static_cast<std::byte*>(memory), numBytes, std::byte {});
    return memory;
}

void releaseMemory(void* memory, std::size_t) noexcept
{
    ::operator delete(memory, vectorAlignment);
}

void preferLargePages(void*, std::size_t) noexcept {}

#endif

} // namespace saddletone::dsp
