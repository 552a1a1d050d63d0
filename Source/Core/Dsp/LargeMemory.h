#pragma once

#include <cstddef>

namespace saddletone::dsp {

// Memory of many megabytes that is filled once costs more in page faults than in arithmetic. Where
// the operating system offers large pages (Linux), these functions ask for them; elsewhere they are
// plain memory.

/** Zeroed memory, aligned for vectors; throws std::bad_alloc. To be given to releaseMemory(). */
[[nodiscard]] void* allocateZeroed(std::size_t numBytes);

/** numBytes: as it was allocated with. memory may be null. */
void releaseMemory(void* memory, std::size_t numBytes) noexcept;

/** Asks for large pages in memory that has not been written to yet; small memory is left alone. */
void preferLargePages(void* memory, std::size_t numBytes) noexcept;

} // namespace saddletone::dsp
