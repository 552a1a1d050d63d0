#include "Core/Platform/Platform.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

using namespace saddletone;

TEST_CASE("Memory of any size is zeroed, aligned for vectors and can be written to", "[core][dsp]")
{
    // Either side of where large pages begin, and sizes that are no multiple of any page.
    for (const std::size_t numBytes :
         {std::size_t {0}, std::size_t {1}, std::size_t {4097}, (std::size_t {1} << 20U) - 1,
          std::size_t {1} << 20U, (std::size_t {1} << 21U) + 1, std::size_t {7'000'001}}) {
        CAPTURE(numBytes);
        for (int round = 0; round < 2; ++round) {
            void* const memory = platform::allocateZeroed(numBytes);
            REQUIRE(memory != nullptr);
            CHECK(reinterpret_cast<std::uintptr_t>(memory) % 64 == 0);
            const std::span bytes(static_cast<std::byte*>(memory), numBytes);
            CHECK(std::ranges::all_of(bytes, [](std::byte b) { return b == std::byte {}; }));
            std::ranges::fill(bytes, std::byte {0x5A});
            platform::releaseMemory(memory, numBytes);
        }
    }
    platform::releaseMemory(nullptr, 0);
}

TEST_CASE("Asking for large pages leaves what memory holds as it is", "[core][dsp]")
{
    std::vector<float> samples(3'000'001, 0.25F);
    platform::preferLargePages(samples.data(), samples.size() * sizeof(float));
    platform::preferLargePages(samples.data(), 1);
    platform::preferLargePages(nullptr, 0);
    CHECK(std::ranges::all_of(samples, [](float sample) { return sample == 0.25F; }));
}
