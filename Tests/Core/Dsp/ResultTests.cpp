#include "Core/Dsp/Result.h"

#include <catch2/catch.hpp>

#include <memory>
#include <string>

using namespace saddletone;

TEST_CASE("A result holds a value or the reason why there is none", "[core][dsp]")
{
    const dsp::Result<int> good = 7;
    REQUIRE(good.has_value());
    CHECK(static_cast<bool>(good));
    CHECK(*good == 7);

    const dsp::Result<int> bad = dsp::fail(dsp::ErrorCode::notFound, "no such thing");
    REQUIRE_FALSE(bad.has_value());
    CHECK(bad.error() == dsp::Error {dsp::ErrorCode::notFound, "no such thing"});
}

TEST_CASE("An error passes on to a result of another type unchanged", "[core][dsp]")
{
    const dsp::Result<int> first = dsp::fail(dsp::ErrorCode::cannotWrite, "disk full");
    const dsp::Result<std::string> second = first.unexpected();
    const dsp::Result<void> third = second.unexpected();
    CHECK(second.error() == first.error());
    CHECK(third.error() == first.error());
}

TEST_CASE("A result without a value is success unless it carries an error", "[core][dsp]")
{
    CHECK(dsp::Result<void> {}.has_value());
    CHECK_FALSE(dsp::Result<void>(dsp::fail(dsp::ErrorCode::malformed, "x")).has_value());
}

TEST_CASE("A value that only moves can be taken out of a result", "[core][dsp]")
{
    dsp::Result<std::unique_ptr<int>> result = std::make_unique<int>(5);
    CHECK(**result == 5);
    const std::unique_ptr<int> taken = *std::move(result);
    CHECK(*taken == 5);
}
