#include "Core/Report/MarkupText.h"

#include <catch2/catch.hpp>

#include <string>

using saddletone::report::escapeMarkup;

// XML 1.0 (fifth edition), clauses 2.2 and 2.4; UTF-8 by RFC 3629.

TEST_CASE("The five special characters become entities", "[core][report]")
{
    CHECK(escapeMarkup("<a href=\"x\" b='y'>&</a>")
          == "&lt;a href=&quot;x&quot; b=&#39;y&#39;&gt;&amp;&lt;/a&gt;");
    CHECK(escapeMarkup("&amp;") == "&amp;amp;");
    CHECK(escapeMarkup("") == "");
}

TEST_CASE("Characters that XML forbids are left out", "[core][report]")
{
    CHECK(escapeMarkup(std::string("a\0b\x01\x1f"
                                   "c\x7f",
                                   7))
          == "abc");
    CHECK(escapeMarkup("a\tb\nc\rd") == "a\tb\nc\rd");
    CHECK(escapeMarkup("a\xEF\xBF\xBE"
                       "b\xEF\xBF\xBF"
                       "c")
          == "abc"); // U+FFFE, U+FFFF
}

TEST_CASE("UTF-8 passes and what is not UTF-8 is replaced", "[core][report]")
{
    const std::string words = "Stra\xC3\x9F"
                              "e \xE2\x80\x93 \xF0\x9F\x8F\x8D";
    CHECK(escapeMarkup(words) == words);
    const std::string replaced = "\xEF\xBF\xBD";
    CHECK(escapeMarkup("a\xFF"
                       "b")
          == "a" + replaced + "b");
    CHECK(escapeMarkup("a\xC3") == "a" + replaced);
    CHECK(escapeMarkup("\xC0\xBC") == replaced + replaced); // overlong '<'
    CHECK(escapeMarkup("\xE0\x80\xBC") == replaced + replaced + replaced);
    CHECK(escapeMarkup("\xED\xA0\x80") == replaced + replaced + replaced); // surrogate
    CHECK(escapeMarkup("\xC3<") == replaced + "&lt;"); // the '<' is not swallowed
}
