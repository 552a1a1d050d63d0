#include "Core/Measure/StateOrigin.h"

#include "Core/Files/JsonReader.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;
using measure::StateOrigin;

TEST_CASE("A state keeps when and with what it was recorded beside all else", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto file = folder / "state.json";
    test::writeBytes(file, R"({"name": "kept", "bands": [1, 2]})");
    CHECK(*measure::loadOrigin(file) == StateOrigin {});
    REQUIRE(measure::noteOrigin({}, file));
    CHECK(test::bytesOf(file) == R"({"name": "kept", "bands": [1, 2]})");

    REQUIRE(measure::noteOrigin({"2026-05-01", "Microphone 7, recorder 2"}, file));
    CHECK(*measure::loadOrigin(file) == StateOrigin {"2026-05-01", "Microphone 7, recorder 2"});
    REQUIRE(measure::noteOrigin({"2026-05-02", ""}, file));
    CHECK(*measure::loadOrigin(file) == StateOrigin {"2026-05-02", "Microphone 7, recorder 2"});
    CHECK((*files::loadJson(file))["name"] == "kept");
    CHECK((*files::loadJson(file))["bands"].size() == 2);
}

TEST_CASE("What is no day is refused by name", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto file = folder / "state.json";
    for (const std::string day : {"1 May 2026", "2026-02-30", "2026-5-1"}) {
        test::writeBytes(file, nlohmann::json {{"measuredOn", day}}.dump());
        const auto refused = measure::loadOrigin(file);
        REQUIRE(!refused);
        CHECK_THAT(refused.error().message, Contains("'measuredOn'") && Contains(day));
    }
    CHECK(!measure::noteOrigin({"2026-05-01", ""}, folder / "gone.json"));
}

TEST_CASE("A take's record says when and with what", "[core][measure]")
{
    measure::TakeRecord record;
    record.device = "Interface, inputs 1 and 2";
    CHECK(measure::originOf(record) == StateOrigin {"", "Interface, inputs 1 and 2"});
    record.recordedAt = "2026-05-01T09:30:00Z";
    CHECK(measure::originOf(record).measuredOn == "2026-05-01");
    record.recordedAt = "yesterday at noon";
    CHECK(measure::originOf(record).measuredOn == "");
}
