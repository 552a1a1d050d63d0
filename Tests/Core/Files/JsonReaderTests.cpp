#include "Core/Files/JsonReader.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <limits>
#include <string>

#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Contains;
using files::JsonReader;
using nlohmann::json;

namespace {

/** The one problem of a reader after reading, which must be there. */
template <typename Read>
dsp::Error problemOf(const json& document, Read read)
{
    JsonReader reader(document, "bike.json");
    read(reader);
    REQUIRE(reader.failure().has_value());
    CHECK_THAT(reader.failure()->message, Contains("'bike.json'"));
    return *reader.failure();
}

} // namespace

TEST_CASE("Fields of the right type and range are read", "[core][files]")
{
    const json document = json::parse(R"({"gainDb": -3.5, "order": 4, "muted": true, "name": "Bike",
        "list": [1, 2.5], "names": ["a", "b"], "inner": {"q": 2}, "items": [{"q": 3}, {"q": 4}]})");
    JsonReader reader(document, "bike.json");
    CHECK(reader.number("gainDb", -40.0, 40.0) == -3.5);
    CHECK(reader.number("missing", 0.0, 1.0, 0.5) == 0.5);
    CHECK(reader.integer("order", 1, 8) == 4);
    CHECK(reader.integer("missing", 1, 8, 2) == 2);
    CHECK(reader.boolean("muted", false));
    CHECK(reader.boolean("missing", true));
    CHECK(reader.text("name") == "Bike");
    CHECK(reader.text("missing", "none") == "none");
    CHECK(reader.numbers("list", 0.0, 10.0) == std::vector<double> {1.0, 2.5});
    CHECK(reader.texts("names") == std::vector<std::string> {"a", "b"});
    CHECK(reader.texts("missing").empty());
    CHECK(reader.object("inner").number("q", 0.0, 10.0) == 2.0);
    CHECK(reader.object("missing").number("q", 0.0, 10.0, 7.0) == 7.0);
    auto items = reader.objects("items");
    REQUIRE(items.size() == 2);
    CHECK(items[1].number("q", 0.0, 10.0) == 4.0);
    CHECK(reader.objects("missing").empty());
    CHECK(reader.has("name"));
    CHECK_FALSE(reader.has("missing"));
    CHECK_FALSE(reader.failure().has_value());
}

TEST_CASE("A null counts as missing", "[core][files]")
{
    const json document = json::parse(R"({"gainDb": null})");
    JsonReader reader(document, "bike.json");
    CHECK_FALSE(reader.has("gainDb"));
    CHECK(reader.number("gainDb", 0.0, 1.0, 0.25) == 0.25);
    CHECK_FALSE(reader.failure().has_value());
}

TEST_CASE("A missing field is named with its source", "[core][files]")
{
    const auto number =
        problemOf(json::object(), [](JsonReader& r) { (void)r.number("gainDb", 0.0, 1.0); });
    CHECK(number.code == dsp::ErrorCode::malformed);
    CHECK_THAT(number.message, Contains("'gainDb'") && Contains("missing"));
    CHECK_THAT(
        problemOf(json::object(), [](JsonReader& r) { (void)r.integer("order", 0, 1); }).message,
        Contains("'order'") && Contains("missing"));
    CHECK_THAT(problemOf(json::object(), [](JsonReader& r) { (void)r.text("name"); }).message,
               Contains("'name'") && Contains("missing"));
    CHECK_THAT(
        problemOf(json::object(), [](JsonReader& r) { (void)r.numbers("list", 0, 1); }).message,
        Contains("'list'") && Contains("missing"));
}

TEST_CASE("A field of the wrong type is named with both types", "[core][files]")
{
    const json document = json::parse(R"({"gainDb": "loud", "order": [1], "muted": 1, "name": 5,
        "list": {"a": 1}, "words": [1], "inner": 3, "items": {"a": 1}, "mixed": [1, "two"]})");
    const auto messageOf = [&](auto read) {
        const auto problem = problemOf(document, read);
        CHECK(problem.code == dsp::ErrorCode::malformed);
        return problem.message;
    };
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.number("gainDb", 0.0, 1.0); }),
               Contains("'gainDb'") && Contains("must be a number") && Contains("string"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.integer("order", 0, 9); }),
               Contains("'order'") && Contains("array"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.boolean("muted", false); }),
               Contains("'muted'") && Contains("true or false"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.text("name"); }),
               Contains("'name'") && Contains("must be text"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.text("name", "x"); }), Contains("'name'"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.numbers("list", 0.0, 1.0); }),
               Contains("'list'") && Contains("must be a list"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.texts("words"); }), Contains("'words'"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.object("inner"); }), Contains("'inner'"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.objects("items"); }), Contains("'items'"));
    CHECK_THAT(messageOf([](JsonReader& r) { (void)r.numbers("mixed", 0.0, 9.0); }),
               Contains("'mixed[1]'"));
}

TEST_CASE("A number outside its range is named with the range", "[core][files]")
{
    const json document = json::parse(R"({"gainDb": 41, "list": [0, 5, -1]})");
    const auto number =
        problemOf(document, [](JsonReader& r) { (void)r.number("gainDb", -40.0, 40.0); });
    CHECK(number.code == dsp::ErrorCode::outOfRange);
    CHECK_THAT(number.message,
               Contains("'gainDb'") && Contains("is 41") && Contains("-40") && Contains("and 40"));
    CHECK_THAT(
        problemOf(document, [](JsonReader& r) { (void)r.numbers("list", 0.0, 9.0); }).message,
        Contains("'list[2]'"));
    // The limits themselves are inside.
    const json edges = json::parse(R"({"low": -40, "high": 40})");
    JsonReader reader(edges, "bike.json");
    (void)reader.number("low", -40.0, 40.0);
    (void)reader.number("high", -40.0, 40.0);
    CHECK_FALSE(reader.failure().has_value());
}

TEST_CASE("Whole numbers are exact to their last bit and bounded", "[core][files]")
{
    constexpr long long most = std::numeric_limits<long long>::max();
    const json document = json::parse(R"({"seed": 9223372036854775807, "odd": 9007199254740993,
        "half": 2.5, "whole": 3.0, "beyond": 9223372036854775808, "huge": 18446744073709551615,
        "far": 1e300, "low": -9223372036854775808})");
    JsonReader reader(document, "bike.json");
    CHECK(reader.integer("seed", 0, most) == most);
    CHECK(reader.integer("odd", 0, most) == 9007199254740993LL);
    CHECK(reader.integer("whole", 0, 9) == 3);
    CHECK(reader.integer("low", std::numeric_limits<long long>::min(), 0)
          == std::numeric_limits<long long>::min());
    CHECK_FALSE(reader.failure().has_value());

    CHECK_THAT(problemOf(document, [](JsonReader& r) { (void)r.integer("half", 0, 9); }).message,
               Contains("'half'") && Contains("whole number") && Contains("2.5"));
    for (const char* key : {"beyond", "huge", "far"}) {
        CAPTURE(key);
        const auto problem =
            problemOf(document, [&](JsonReader& r) { CHECK(r.integer(key, 0, most) >= 0); });
        CHECK(problem.code == dsp::ErrorCode::outOfRange);
    }
    CHECK(problemOf(document, [](JsonReader& r) { (void)r.integer("seed", 0, 1000); }).code
          == dsp::ErrorCode::outOfRange);
}

TEST_CASE("The first problem is the one that is told", "[core][files]")
{
    const json document = json::parse(R"({"a": "x", "b": "y"})");
    JsonReader reader(document, "bike.json");
    (void)reader.number("a", 0.0, 1.0);
    (void)reader.number("b", 0.0, 1.0);
    reader.reject("c", "is wrong");
    REQUIRE(reader.failure().has_value());
    CHECK_THAT(reader.failure()->message, Contains("'a'") && !Contains("'b'") && !Contains("'c'"));
}

TEST_CASE("A problem deep inside is named with its path", "[core][files]")
{
    const json document = json::parse(R"({"chains": [{}, {"elements": [{"q": "high"}]}]})");
    JsonReader reader(document, "bike.json");
    auto chains = reader.objects("chains");
    REQUIRE(chains.size() == 2);
    auto elements = chains[1].objects("elements");
    (void)elements.at(0).number("q", 0.1, 30.0);
    chains[1].absorb(elements[0]);
    reader.absorb(chains[1]);
    REQUIRE(reader.failure().has_value());
    CHECK_THAT(reader.failure()->message, Contains("'chains[1].elements[0].q'"));
}

TEST_CASE("Another kind of file and a newer one are refused with what to do", "[core][files]")
{
    const auto kindProblem = [](const char* text) {
        return problemOf(json::parse(text),
                         [](JsonReader& r) { r.expectKind("saddletone-job", 2); });
    };
    CHECK_THAT(kindProblem(R"({"schemaVersion": 1})").message,
               Contains("'kind'") && Contains("missing"));
    CHECK_THAT(kindProblem(R"({"kind": "recipe", "schemaVersion": 1})").message,
               Contains("'recipe'") && Contains("saddletone-job"));
    CHECK(kindProblem(R"({"kind": 3})").code == dsp::ErrorCode::malformed);
    const auto newer = kindProblem(R"({"kind": "saddletone-job", "schemaVersion": 3})");
    CHECK(newer.code == dsp::ErrorCode::newerSchema);
    CHECK_THAT(newer.message, Contains("schemaVersion") && Contains("3") && Contains("newer"));
    CHECK(kindProblem(R"({"kind": "saddletone-job", "schemaVersion": "1"})").code
          == dsp::ErrorCode::malformed);
    CHECK(kindProblem(R"({"kind": "saddletone-job", "schemaVersion": 0})").code
          == dsp::ErrorCode::outOfRange);
    CHECK_THAT(kindProblem(R"({"kind": "saddletone-job"})").message, Contains("schemaVersion"));

    const json good = json::parse(R"({"kind": "saddletone-job", "schemaVersion": 2})");
    JsonReader reader(good, "bike.json");
    reader.expectKind("saddletone-job", 2);
    CHECK_FALSE(reader.failure().has_value());
}

TEST_CASE("A reader of something that is no object says so", "[core][files]")
{
    const json list = json::parse("[1, 2]");
    JsonReader reader(list, "bike.json");
    CHECK(reader.number("gainDb", 0.0, 1.0, 0.5) == 0.5);
    REQUIRE(reader.failure().has_value());
    CHECK_THAT(reader.failure()->message, Contains("not an object"));
}

TEST_CASE("JSON files that cannot be read are refused by name", "[core][files]")
{
    const test::TemporaryFolder folder;
    const auto problem = [&](const char* text) {
        test::writeBytes(folder / "bike.json", text);
        const auto result = files::loadJson(folder / "bike.json");
        REQUIRE_FALSE(result.has_value());
        CHECK_THAT(result.error().message, Contains("bike.json"));
        return result.error();
    };
    CHECK(files::loadJson(folder / "none.json").error().code == dsp::ErrorCode::notFound);
    CHECK_THAT(problem("{\"a\": 1,").message, Contains("line 1"));
    CHECK_THAT(problem("{\n\"a\": 1\n\"b\": 2}").message, Contains("line 3"));
    CHECK(problem("").code == dsp::ErrorCode::malformed);
    CHECK_THAT(problem("[1]").message, Contains("not an object"));
    // JSON has no words for these, and a number that no double holds is not read as infinity.
    for (const char* text : {R"({"a": NaN})", R"({"a": Infinity})", R"({"a": -Infinity})",
                             R"({"a": 1e999})", R"({"a": -1e999})"})
        CHECK(problem(text).code == dsp::ErrorCode::malformed);
    // Text that is not UTF-8.
    CHECK(problem("{\"a\": \"\xFF\"}").code == dsp::ErrorCode::malformed);
}

TEST_CASE("Documents are written indented, as UTF-8, and come back equal", "[core][files]")
{
    const test::TemporaryFolder folder;
    const json document {
        {"name", "G\xC3\xA4ste"}, {"gainDb", 0.1}, {"seed", 18446744073709551615U}};
    const std::string text = files::jsonText(document);
    CHECK(text.back() == '\n');
    CHECK_THAT(text, Contains("  \"name\": \"G\xC3\xA4ste\""));
    test::writeBytes(folder / "a.json", text);
    const auto back = files::loadJson(folder / "a.json");
    REQUIRE(back.has_value());
    CHECK(*back == document);
    // A name in another encoding is mended, not thrown at the user.
    CHECK_NOTHROW(files::jsonText(json {{"name", "\xE4"}}));
}
