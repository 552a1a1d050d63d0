#include "Core/Dsp/ScopedFlushDenormals.h"

#include <catch2/catch.hpp>

#include <limits>

using namespace saddletone;

namespace {

/** Half of the smallest normal number: denormal, or zero while denormals are flushed. */
float halfOfSmallest()
{
    // volatile: the compiler must not work it out by its own rules.
    volatile float smallest = std::numeric_limits<float>::min();
    volatile float half = 0.5F;
    volatile float product = smallest * half;
    return product;
}

} // namespace

#if defined(__SSE2__) || defined(_M_X64) || defined(__aarch64__)

TEST_CASE("Denormals are zero inside the scope and back after it", "[core][dsp]")
{
    REQUIRE(halfOfSmallest() != 0.0F);
    {
        const dsp::ScopedFlushDenormals flush;
        CHECK(halfOfSmallest() == 0.0F);
    }
    CHECK(halfOfSmallest() != 0.0F);
}

TEST_CASE("The end of an inner scope leaves the outer one in force", "[core][dsp]")
{
    const dsp::ScopedFlushDenormals outer;
    {
        const dsp::ScopedFlushDenormals inner;
        CHECK(halfOfSmallest() == 0.0F);
    }
    CHECK(halfOfSmallest() == 0.0F);
}

#endif
