#include "Core/Files/Utf8.h"

#include <catch2/catch.hpp>

#include <cstdint>
#include <string>
#include <vector>

using namespace saddletone;

TEST_CASE("Every character comes back from its UTF-8", "[core][files][utf8]")
{
    // The first and last of each length, and those beside the surrogates (RFC 3629, clause 3).
    const std::uint32_t codePoint = GENERATE(as<std::uint32_t> {}, 0x00, 0x7F, 0x80, 0x7FF, 0x800,
                                             0xD7FF, 0xE000, 0xFFFF, 0x10000, 0x10FFFF);
    CAPTURE(codePoint);
    const std::string text = files::encodeUtf8(codePoint);
    const std::size_t numBytes = codePoint < 0x80      ? 1
                                 : codePoint < 0x800   ? 2
                                 : codePoint < 0x10000 ? 3
                                                       : 4;
    CHECK(text.size() == numBytes);
    const auto decoded = files::decodeFirst(text + "a");
    CHECK(decoded.codePoint == codePoint);
    CHECK(decoded.numBytes == numBytes);
    CHECK(files::isUtf8("a" + text + "b"));
}

TEST_CASE("Numbers that no character has are written as the one that stands for them",
          "[core][files][utf8]")
{
    const std::uint32_t codePoint =
        GENERATE(as<std::uint32_t> {}, 0xD800, 0xDFFF, 0x110000, 0xFFFFFFFF);
    CHECK(files::encodeUtf8(codePoint) == "\xEF\xBF\xBD");
}

TEST_CASE("What is cut off, overlong or half of a pair is not UTF-8", "[core][files][utf8]")
{
    const std::string text =
        GENERATE(as<std::string> {}, "\x80", "\xBF", "\xC3", "\xC0\x80", "\xC1\xBF", "\xE0\x9F\xBF",
                 "\xE2\x82", "\xED\xA0\x80", "\xF0\x8F\xBF\xBF", "\xF0\x9F\x8F", "\xF4\x90\x80\x80",
                 "\xF5\x80\x80\x80", "\xFF", "\xC3(");
    CHECK(files::decodeFirst(text).numBytes == 0);
    CHECK_FALSE(files::isUtf8("a" + text));
}
