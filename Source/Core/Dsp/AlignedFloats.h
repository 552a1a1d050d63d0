#pragma once

#include <cstddef>
#include <new>
#include <vector>

namespace saddletone::dsp {

/** Memory that begins at a cache line, so that no vector of it lies across two. */
template <typename Value>
struct CacheLineAllocator {
    using value_type = Value;
    static constexpr std::align_val_t alignment {64};

    CacheLineAllocator() = default;
    template <typename Other>
    CacheLineAllocator(const CacheLineAllocator<Other>& /*other*/) noexcept
    {
    }

    [[nodiscard]] Value* allocate(std::size_t count)
    {
        return static_cast<Value*>(::operator new(count * sizeof(Value), alignment));
    }
    void deallocate(Value* place, std::size_t /*count*/) noexcept
    {
        ::operator delete(place, alignment);
    }

    bool operator==(const CacheLineAllocator&) const = default;
};

using AlignedFloats = std::vector<float, CacheLineAllocator<float>>;

} // namespace saddletone::dsp
