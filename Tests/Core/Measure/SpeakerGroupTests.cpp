#include "Core/Measure/SpeakerGroup.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Measure/Comparison.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;
using measure::SpeakerGroup;

namespace {

/** A click of the direct sound at 48 kHz. */
measure::Response makeClick(SpeakerGroup speakers, float height = 1.0F)
{
    measure::Response response;
    response.state.radioProfile = "Touring";
    response.state.speakers = speakers;
    response.impulse.assign(9600, 0.0F);
    response.arrivalFrame = 480;
    response.impulse[480] = height;
    response.arrivalSeconds = 3.25;
    return response;
}

} // namespace

TEST_CASE("Every speaker group has a name that reads back", "[core][measure]")
{
    for (const SpeakerGroup group : measure::allSpeakerGroups) {
        CHECK(measure::parseSpeakerGroup(measure::speakerGroupName(group)) == group);
        CHECK_THAT(measure::speakerGroupChoices(),
                   Contains(std::string(measure::speakerGroupName(group))));
    }
    CHECK_FALSE(measure::parseSpeakerGroup("Left"));
    CHECK_FALSE(measure::parseSpeakerGroup(""));
    CHECK(measure::speakerGroupWords(SpeakerGroup::rearRight) == "rear right");
}

TEST_CASE("The other side of a group is on the other side, and its other side is the group",
          "[core][measure]")
{
    for (const SpeakerGroup group : measure::allSpeakerGroups) {
        const auto other = measure::otherSideOf(group);
        const bool hasBothSides = group == SpeakerGroup::all || group == SpeakerGroup::front
                                  || group == SpeakerGroup::rear;
        CHECK(other.has_value() != hasBothSides);
        if (!other)
            continue;
        CHECK(measure::otherSideOf(*other) == group);
        CHECK(measure::isLeftSide(*other) != measure::isLeftSide(group));
    }
    CHECK(measure::otherSideOf(SpeakerGroup::frontLeft) == SpeakerGroup::frontRight);
    CHECK(measure::otherSideOf(SpeakerGroup::rearLeft) == SpeakerGroup::rearRight);
}

TEST_CASE("A state keeps its speakers and its recording, and one from before them reads as all",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto file = folder.path() / "a.state.json";
    auto response = makeClick(SpeakerGroup::frontLeft);
    response.recordingChecksum = "abc";
    response.trackStartSeconds = 16.5;
    REQUIRE(measure::saveResponse(response, file));
    const auto read = measure::loadResponse(file);
    REQUIRE(read);
    CHECK(read->state == response.state);
    CHECK(read->recordingChecksum == "abc");
    CHECK(read->trackStartSeconds == 16.5);

    auto json = files::loadJson(file);
    REQUIRE(json);
    CHECK((*json)["state"]["speakers"] == "front-left");
    (*json)["state"].erase("speakers");
    json->erase("recordingChecksum");
    json->erase("trackStartSeconds");
    REQUIRE(files::writeTextFile(file, files::jsonText(*json)));
    const auto older = measure::loadResponse(file);
    REQUIRE(older);
    CHECK(older->state.speakers == SpeakerGroup::all);
    CHECK(older->recordingChecksum.empty());
    CHECK_FALSE(older->trackStartSeconds);

    for (const nlohmann::json& wrong : {nlohmann::json("middle"), nlohmann::json(3)}) {
        (*json)["state"]["speakers"] = wrong;
        REQUIRE(files::writeTextFile(file, files::jsonText(*json)));
        const auto refused = measure::loadResponse(file);
        REQUIRE_FALSE(refused);
        CHECK_THAT(refused.error().message, Contains("a.state.json") && Contains("state.speakers"));
        if (wrong.is_string())
            CHECK_THAT(refused.error().message, Contains("rear-left or rear-right"));
    }
}

TEST_CASE("Only the two sides of one profile and engine state are sides of one", "[core][measure]")
{
    const auto left = makeClick(SpeakerGroup::left).state;
    auto right = makeClick(SpeakerGroup::right).state;
    CHECK(measure::areSidesOfOne(left, right));
    CHECK(measure::areSidesOfOne(right, left));
    CHECK_FALSE(measure::areSidesOfOne(left, left));
    CHECK_FALSE(measure::areSidesOfOne(left, makeClick(SpeakerGroup::frontRight).state));
    right.engine = measure::EngineState::idle;
    CHECK_FALSE(measure::areSidesOfOne(left, right));
    const auto all = makeClick(SpeakerGroup::all).state;
    CHECK_FALSE(measure::areSidesOfOne(all, all));
}

TEST_CASE("Arrivals are compared within one recording only", "[core][measure]")
{
    auto left = makeClick(SpeakerGroup::left);
    auto right = makeClick(SpeakerGroup::right, -1.0F);
    right.arrivalSeconds += 16.0 + 0.0015;
    CHECK_FALSE(measure::arrivalInOneRecordingMs(left, right));
    left.recordingChecksum = right.recordingChecksum = "abc";
    CHECK_FALSE(measure::arrivalInOneRecordingMs(left, right));
    left.trackStartSeconds = 1.0;
    right.trackStartSeconds = 17.0;
    const auto laterMs = measure::arrivalInOneRecordingMs(left, right);
    REQUIRE(laterMs);
    // The impulses are alike but for their sign, so nothing but the rounding of seconds is left.
    CHECK(*laterMs == Approx(1.5).margin(1e-6));
    CHECK(*measure::arrivalInOneRecordingMs(right, left) == Approx(-1.5).margin(1e-6));
    right.recordingChecksum = "def";
    CHECK_FALSE(measure::arrivalInOneRecordingMs(left, right));
    right.recordingChecksum = "abc";
    right.arrivalSeconds = 0.0;
    CHECK_FALSE(measure::arrivalInOneRecordingMs(left, right));
}
