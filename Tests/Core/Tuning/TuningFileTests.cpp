#include "Core/Tuning/TuningFile.h"

#include "Core/Files/AtomicFile.h"
#include "Support/TemporaryFolder.h"
#include "Support/TuningFixtures.h"

#include <catch2/catch.hpp>

#include <numbers>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Contains;
using nlohmann::json;
using tuning::Alignment;
using tuning::ElementType;
using tuning::OutputGroup;

namespace {

json documentWith(const char* element)
{
    return {{"kind", "saddletone-tuning"},
            {"schemaVersion", 2},
            {"chains", {{{"group", "all"}, {"elements", {json::parse(element)}}}}}};
}

dsp::Error problemOf(const json& document)
{
    const auto result = tuning::tuningFromJson(document, "shop.json");
    REQUIRE_FALSE(result.has_value());
    CHECK_THAT(result.error().message, Contains("'shop.json'"));
    return result.error();
}

} // namespace

TEST_CASE("A tuning of every element comes back equal from JSON and from its file",
          "[core][tuning]")
{
    const test::TemporaryFolder folder;
    tuning::Tuning original {"Warm bass", {}};
    for (const auto group : measure::allSpeakerGroups)
        original.chains.push_back({group, test::allElements()});
    original.chains.push_back({OutputGroup::right, {}});

    const auto fromJson = tuning::tuningFromJson(tuning::tuningToJson(original), "memory");
    REQUIRE(fromJson.has_value());
    CHECK(*fromJson == original);

    REQUIRE(tuning::saveTuning(original, folder / "warm.json").has_value());
    const auto fromFile = tuning::loadTuning(folder / "warm.json");
    REQUIRE(fromFile.has_value());
    CHECK(*fromFile == original);
}

TEST_CASE("Fields that may be left out take the stated values", "[core][tuning]")
{
    const auto read = tuning::tuningFromJson(
        json::parse(R"({"kind": "saddletone-tuning", "schemaVersion": 1, "chains": [{"elements": [
            {"type": "peaking", "frequencyHz": 100, "gainDb": 3},
            {"type": "high-pass", "frequencyHz": 80}]}]})"),
        "shop.json");
    REQUIRE(read.has_value());
    CHECK(read->name.empty());
    REQUIRE(read->chains.size() == 1);
    CHECK(read->chains[0].group == OutputGroup::all);
    REQUIRE(read->chains[0].elements.size() == 2);
    CHECK(read->chains[0].elements[0].q == Approx(1.0 / std::numbers::sqrt2).epsilon(1e-12));
    CHECK(read->chains[0].elements[1].alignment == Alignment::butterworth);
    CHECK(read->chains[0].elements[1].order == 2);
}

TEST_CASE("Tunings that cannot be are refused by key and reason", "[core][tuning]")
{
    const auto messageOf = [](const char* element) {
        return problemOf(documentWith(element)).message;
    };
    CHECK_THAT(messageOf(R"({"type": "reverb"})"), Contains("chains[0].elements[0].type")
                                                       && Contains("'reverb'")
                                                       && Contains("high-pass"));
    CHECK_THAT(messageOf(R"({"gainDb": 3})"), Contains("elements[0].type"));
    CHECK_THAT(messageOf(R"({"type": 7})"), Contains("elements[0].type"));
    CHECK_THAT(messageOf(R"({"type": "gain"})"), Contains("gainDb") && Contains("missing"));
    CHECK_THAT(messageOf(R"({"type": "gain", "gainDb": 41})"), Contains("gainDb"));
    CHECK_THAT(messageOf(R"({"type": "gain", "gainDb": "3"})"),
               Contains("gainDb") && Contains("number"));
    CHECK_THAT(messageOf(R"({"type": "peaking", "gainDb": 3})"),
               Contains("frequencyHz") && Contains("missing"));
    CHECK_THAT(messageOf(R"({"type": "peaking", "gainDb": 3, "frequencyHz": 9})"),
               Contains("frequencyHz"));
    CHECK_THAT(messageOf(R"({"type": "peaking", "gainDb": 3, "frequencyHz": 100, "q": 0})"),
               Contains(".q'"));
    CHECK_THAT(messageOf(R"({"type": "low-shelf", "frequencyHz": 100})"), Contains("gainDb"));
    CHECK_THAT(messageOf(R"({"type": "delay"})"), Contains("delayMs") && Contains("missing"));
    CHECK_THAT(messageOf(R"({"type": "delay", "delayMs": 101})"), Contains("delayMs"));
    CHECK_THAT(messageOf(R"({"type": "delay", "delayMs": -1})"), Contains("delayMs"));
    CHECK_THAT(messageOf(R"({"type": "low-pass", "frequencyHz": 100, "order": 9})"),
               Contains("order"));
    CHECK_THAT(messageOf(R"({"type": "low-pass", "frequencyHz": 100, "order": 2.5})"),
               Contains("order") && Contains("whole number"));
    for (const char* order : {"1", "3", "5", "6", "7"})
        CHECK_THAT(messageOf((std::string(R"({"type": "low-pass", "frequencyHz": 100,
                        "alignment": "linkwitz-riley", "order": )")
                              + order + "}")
                                 .c_str()),
                   Contains("order") && Contains("2, 4 or 8"));
    CHECK_THAT(messageOf(R"({"type": "low-pass", "frequencyHz": 100, "alignment": "elliptic"})"),
               Contains("alignment") && Contains("'elliptic'") && Contains("bessel"));
    CHECK_THAT(messageOf(R"({"type": "all-pass", "frequencyHz": 100, "order": 3})"),
               Contains("order"));
    CHECK_THAT(messageOf(R"({"type": "notch", "gainDb": -3})"), Contains("frequencyHz"));
    CHECK_THAT(messageOf(R"({"type": "low-shelf", "frequencyHz": 100, "gainDb": 3, "q": 0.7,
                             "slope": 1})"),
               Contains("slope") && Contains("'q'") && Contains("one of the two"));
    CHECK_THAT(messageOf(R"({"type": "low-shelf", "frequencyHz": 100, "gainDb": 3, "slope": 1.1})"),
               Contains("slope"));
    CHECK_THAT(messageOf(R"({"type": "peaking", "frequencyHz": 100, "gainDb": 3, "slope": 1})"),
               Contains("slope") && Contains("belongs to a shelf"));
    CHECK_THAT(messageOf(R"({"type": "graphic"})"), Contains("bandGainsDb"));
    CHECK_THAT(messageOf(R"({"type": "graphic", "bandGainsDb": [1, 2, 3]})"),
               Contains("bandGainsDb") && Contains("3 numbers") && Contains("31"));
    CHECK_THAT(messageOf(R"({"type": "limiter"})"), Contains("thresholdDbfs"));
    CHECK_THAT(messageOf(R"({"type": "limiter", "thresholdDbfs": 1})"), Contains("thresholdDbfs"));
    CHECK_THAT(messageOf(R"({"type": "limiter", "thresholdDbfs": -1, "attackMs": 0})"),
               Contains("attackMs"));
    CHECK_THAT(messageOf(R"({"type": "limiter", "thresholdDbfs": -1, "releaseMs": 1e9})"),
               Contains("releaseMs"));
    CHECK_THAT(messageOf(R"({"type": "polarity", "label": 3})"), Contains("label"));
}

TEST_CASE("A key that does nothing in its element is refused with those that do", "[core][tuning]")
{
    const auto messageOf = [](const char* element) {
        return problemOf(documentWith(element)).message;
    };
    CHECK_THAT(messageOf(R"({"type": "peaking", "frequencyHz": 100, "gainDb": 3, "Q": 2})"),
               Contains("'chains[0].elements[0].Q'") && Contains("'peaking'")
                   && Contains("frequencyHz, gainDb, label, q or type"));
    CHECK_THAT(messageOf(R"({"type": "high-pass", "frequencyHz": 80, "q": 2})"),
               Contains("elements[0].q'") && Contains("alignment"));
    CHECK_THAT(messageOf(R"({"type": "all-pass", "frequencyHz": 80, "order": 1, "q": 2})"),
               Contains("elements[0].q'"));
    CHECK_THAT(messageOf(R"({"type": "low-shelf", "frequencyHz": 80, "gainDb": 3, "s": 1})"),
               Contains("elements[0].s'") && Contains("slope"));
    CHECK(tuning::tuningFromJson(
        documentWith(R"({"type": "low-shelf", "frequencyHz": 80, "gainDb": 3, "slope": 1,
                         "label": "Bass"})"),
        "shop.json"));
}

TEST_CASE("A graphic with a gain beyond its range is refused by its band", "[core][tuning]")
{
    json element {{"type", "graphic"}, {"bandGainsDb", std::vector<double>(31, 0.0)}};
    CHECK(tuning::tuningFromJson(documentWith(element.dump().c_str()), "shop.json"));
    element["bandGainsDb"][7] = 41.0;
    CHECK_THAT(problemOf(documentWith(element.dump().c_str())).message, Contains("bandGainsDb[7]"));
}

TEST_CASE("A tuning of the first schema version still reads the same", "[core][tuning]")
{
    const auto read = tuning::tuningFromJson(
        json::parse(R"({"kind": "saddletone-tuning", "schemaVersion": 1, "name": "Old",
            "chains": [{"group": "left", "elements": [
                {"type": "low-shelf", "frequencyHz": 130, "gainDb": -6, "q": 0.7071},
                {"type": "high-pass", "frequencyHz": 80, "alignment": "linkwitz-riley",
                 "order": 4},
                {"type": "delay", "delayMs": 1.5}]}]})"),
        "old.json");
    REQUIRE(read);
    const tuning::Tuning expected {
        "Old",
        {{OutputGroup::left,
          {{.type = ElementType::lowShelf, .frequencyHz = 130.0, .gainDb = -6.0, .q = 0.7071},
           {.type = ElementType::highPass,
            .frequencyHz = 80.0,
            .alignment = Alignment::linkwitzRiley,
            .order = 4},
           {.type = ElementType::delay, .delayMs = 1.5}}}}};
    // What a type does not use keeps its default on both sides.
    CHECK(*read == expected);
    CHECK(tuning::tuningToJson(*read)["schemaVersion"] == 2);
}

TEST_CASE("Documents that are no tuning are refused", "[core][tuning]")
{
    json document = documentWith(R"({"type": "polarity"})");
    CHECK(tuning::tuningFromJson(document, "shop.json").has_value());

    json changed = document;
    changed["schemaVersion"] = 3;
    CHECK(problemOf(changed).code == dsp::ErrorCode::newerSchema);
    changed = document;
    changed["kind"] = "saddletone-job";
    CHECK_THAT(problemOf(changed).message, Contains("kind"));
    changed = document;
    changed.erase("chains");
    CHECK_THAT(problemOf(changed).message, Contains("'chains'"));
    changed = document;
    changed["chains"] = "none";
    CHECK_THAT(problemOf(changed).message, Contains("'chains'"));
    changed = document;
    changed["chains"][0]["group"] = "sidecar";
    CHECK_THAT(problemOf(changed).message,
               Contains("chains[0].group") && Contains("'sidecar'") && Contains("front-left"));
    changed = document;
    changed["chains"][0]["elements"] = 5;
    CHECK_THAT(problemOf(changed).message, Contains("elements"));
    changed = document;
    changed["name"] = 12;
    CHECK_THAT(problemOf(changed).message, Contains("'name'"));
    CHECK_THAT(problemOf(json::array()).message, Contains("not an object"));

    const test::TemporaryFolder folder;
    const auto missing = tuning::loadTuning(folder / "none.json");
    REQUIRE_FALSE(missing.has_value());
    CHECK(missing.error().code == dsp::ErrorCode::notFound);
}
