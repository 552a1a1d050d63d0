#include "Core/Tuning/FitTarget.h"

#include "Core/Files/JsonReader.h"
#include "Support/FitFixtures.h"
#include "Support/TemporaryFolder.h"

#include <cmath>
#include <filesystem>
#include <string>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Contains;
using nlohmann::json;

TEST_CASE("A flat target is 0 dB everywhere", "[core][tuning]")
{
    const tuning::FitTarget target;
    for (const double frequencyHz : {20.0, 500.0, 20000.0}) {
        CHECK(target.levelDbAt(frequencyHz) == 0.0);
        CHECK(target.isKnownAt(frequencyHz));
    }
}

TEST_CASE("A bass shelf has half its decibels at its frequency and all of them far below",
          "[core][tuning]")
{
    tuning::FitTarget target;
    target.bassShelf = tuning::BassShelf {6.0, 100.0};
    // R. Bristow-Johnson's cookbook: the shelf's midpoint gain.
    CHECK(target.levelDbAt(100.0) == Approx(3.0).margin(1e-9));
    CHECK(target.levelDbAt(5.0) == Approx(6.0).margin(0.01));
    CHECK(target.levelDbAt(5000.0) == Approx(0.0).margin(0.01));
    // As steep as goes without overshoot: never outside 0 to 6 dB.
    for (double frequencyHz = 5.0; frequencyHz < 20000.0; frequencyHz *= 1.05) {
        CHECK(target.levelDbAt(frequencyHz) <= 6.0 + 1e-9);
        CHECK(target.levelDbAt(frequencyHz) >= -1e-9);
    }
}

TEST_CASE("A target of a table is straight over log frequency and keeps its ends", "[core][tuning]")
{
    const auto target = tuning::targetFromTable({{100.0, 400.0}, {4.0, -2.0}, {}}, "slope");
    CHECK(target.levelDbAt(200.0) == Approx(1.0));
    CHECK(target.levelDbAt(20.0) == Approx(4.0));
    CHECK(target.levelDbAt(10000.0) == Approx(-2.0));
}

TEST_CASE("A target survives a round trip through JSON", "[core][tuning]")
{
    tuning::FitTarget target =
        tuning::targetFromTable({{50.0, 500.0, 5000.0}, {3.0, 0.0, -1.5}, {}}, "house");
    target.bassShelf = tuning::BassShelf {-2.5, 80.0};
    const auto read = tuning::targetFromJson(tuning::targetToJson(target), "test");
    REQUIRE(read);
    CHECK(read->name == "house");
    CHECK(read->table.frequenciesHz == target.table.frequenciesHz);
    CHECK(read->table.levelsDb == target.table.levelsDb);
    CHECK(read->bassShelf == target.bassShelf);
}

TEST_CASE("A target's mistakes are named with their key", "[core][tuning]")
{
    const auto messageOf = [](const json& points, const json& shelf) {
        json target {{"kind", "saddletone-target"}, {"schemaVersion", 1}, {"name", "x"}};
        if (!points.is_null())
            target["points"] = points;
        if (!shelf.is_null())
            target["bassShelf"] = shelf;
        const auto read = tuning::targetFromJson(target, "t.json");
        return read ? std::string() : read.error().message;
    };
    const auto point = [](double hz, double db) {
        return json {{"frequencyHz", hz}, {"levelDb", db}};
    };
    CHECK(messageOf(nullptr, nullptr).empty());
    CHECK_THAT(messageOf(json::array({point(200, 0), point(100, 0)}), nullptr),
               Contains("t.json") && Contains("frequencyHz") && Contains("above"));
    CHECK_THAT(messageOf(json::array({point(100, 500)}), nullptr), Contains("levelDb"));
    CHECK_THAT(messageOf(nullptr, {{"gainDb", 60}, {"frequencyHz", 100}}), Contains("gainDb"));
    CHECK_THAT(messageOf(nullptr, {{"gainDb", 6}}), Contains("frequencyHz"));
    const auto other = tuning::targetFromJson({{"kind", "saddletone-tuning"}}, "t.json");
    REQUIRE_FALSE(other);
    CHECK_THAT(other.error().message, Contains("kind"));
}

TEST_CASE("A target is read from JSON, from a table and from an earlier state", "[core][tuning]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "curve.txt", "* house\n100 3\n10000 -3\n");
    const auto table = tuning::loadTarget(folder / "curve.txt");
    REQUIRE(table);
    CHECK(table->name == "curve");
    CHECK(table->levelDbAt(1000.0) == Approx(0.0).margin(1e-12));

    auto earlier = test::responseOf([](double hz) { return hz < 1000.0 ? 2.0 : -2.0; }, "liked");
    test::trustOnly(earlier, 100.0, 8000.0);
    REQUIRE(measure::saveResponse(earlier, folder / "liked.json"));
    const auto state = tuning::loadTarget(folder / "liked.json");
    REQUIRE(state);
    CHECK(state->name == "liked");
    CHECK(state->levelDbAt(300.0) - state->levelDbAt(4000.0) == Approx(4.0).margin(0.1));
    CHECK_FALSE(state->isKnownAt(60.0));
    CHECK(state->isKnownAt(100.0));
    CHECK_FALSE(state->isKnownAt(12000.0));

    CHECK_FALSE(tuning::loadTarget(folder / "nothing.json"));
    CHECK_FALSE(tuning::loadTarget(folder / "nothing.txt"));
}

TEST_CASE("A state that is trusted nowhere is refused as a target", "[core][tuning]")
{
    auto response = test::responseOf([](double) { return 0.0; }, "noise");
    test::trustOnly(response, 1.0, 2.0);
    const auto target = tuning::targetFromResponse(response);
    REQUIRE_FALSE(target);
    CHECK(target.error().code == dsp::ErrorCode::notTrustworthy);
    CHECK_THAT(target.error().message, Contains("noise") && Contains("measure"));
}

TEST_CASE("Every preset of a target can be read and has a name", "[core][tuning]")
{
    std::size_t numPresets = 0;
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(SADDLETONE_PRESETS_DIR) / "Targets")) {
        INFO(entry.path());
        const auto target = tuning::loadTarget(entry.path());
        REQUIRE(target);
        CHECK_FALSE(target->name.empty());
        // No target asks for less bass than treble.
        CHECK(target->levelDbAt(50.0) >= target->levelDbAt(10000.0));
        ++numPresets;
    }
    CHECK(numPresets >= 3);
}
