#include "Core/Measure/TakeRecord.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using measure::DropoutCause;
using measure::TakeEnd;
using measure::TakePurpose;
using measure::TakeRecord;

namespace {

TakeRecord fullRecord()
{
    TakeRecord record;
    record.audioFile = "head-02.wav";
    record.recordedAt = "2026-05-01T09:30:00Z";
    record.purpose = TakePurpose::noiseFloor;
    record.place = "10 cm left of the head's centre";
    record.device = "input 2 of the pocket recorder";
    record.deviceChannels = {1, 3};
    record.gainNote = "gain at 12 o'clock";
    record.sampleRate = 44100.0;
    record.numFrames = 441000;
    record.preRollSeconds = 2.0;
    record.dropouts = {{1.25, 512, DropoutCause::bufferFull, true},
                       {3.5, 0, DropoutCause::device, false}};
    record.numUnlistedDropouts = 7;
    record.numClips = 3;
    record.end = TakeEnd::writeFailed;
    record.problem = "disk full";
    return record;
}

} // namespace

TEST_CASE("A take's record survives a round trip", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto audioFile = folder / "head-02.wav";
    REQUIRE(measure::saveTakeRecord(fullRecord(), audioFile));
    const auto loaded = measure::loadTakeRecord(audioFile);
    REQUIRE(loaded);
    CHECK(*loaded == fullRecord());
}

TEST_CASE("A refused take is kept with the reason, and may be accepted later", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto audioFile = folder / "head-02.wav";
    test::writeBytes(audioFile, "audio");
    REQUIRE(measure::saveTakeRecord(fullRecord(), audioFile));
    const auto refused = measure::refuseTake(audioFile, "clipped, 12 half-waves are cut off flat");
    REQUIRE(refused);
    CHECK(refused->refused);
    CHECK(test::bytesOf(audioFile) == "audio");
    auto loaded = measure::loadTakeRecord(audioFile);
    REQUIRE(loaded);
    CHECK(loaded->refused);
    CHECK(loaded->refusalReason == "clipped, 12 half-waves are cut off flat");
    CHECK(loaded->verdict == loaded->refusalReason);
    REQUIRE(measure::noteVerdict(audioFile, "usable from 40 Hz"));
    loaded = measure::loadTakeRecord(audioFile);
    REQUIRE(loaded);
    CHECK_FALSE(loaded->refused);
    CHECK(loaded->refusalReason.empty());
    CHECK(loaded->verdict == "usable from 40 Hz");
    CHECK_FALSE(measure::refuseTake(folder / "none.wav", "no reason"));
}

TEST_CASE("The takes of a folder are listed by name, with records that cannot be read named",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    for (const char* name : {"b-01.wav", "a-02.wav", "a-01.wav"}) {
        test::writeBytes(folder / name, "audio");
        REQUIRE(measure::saveTakeRecord(fullRecord(), folder / name));
    }
    test::writeBytes(folder / "other.wav", "audio");
    test::writeBytes(folder / "broken.wav", "audio");
    test::writeBytes(folder / "broken.take.json", "{\"kind\": \"saddletone-take\"");
    const auto list = measure::listTakes(folder.path());
    REQUIRE(list.takes.size() == 3);
    CHECK(list.takes[0].audioFile.filename() == "a-01.wav");
    CHECK(list.takes[1].audioFile.filename() == "a-02.wav");
    CHECK(list.takes[2].audioFile.filename() == "b-01.wav");
    REQUIRE(list.problems.size() == 1);
    CHECK_THAT(list.problems.front(), Catch::Contains("broken.take.json"));
    CHECK(measure::listTakes(folder / "missing").problems.size() == 1);
}

TEST_CASE("A take's record with a wrong value is refused with its key", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto audioFile = folder / "take.wav";
    REQUIRE(measure::saveTakeRecord(fullRecord(), audioFile));
    const std::string text = test::bytesOf(folder / "take.take.json");
    const auto refusedWith = [&](const std::string& from, const std::string& to,
                                 const std::string& key) {
        std::string changed = text;
        const auto place = changed.find(from);
        REQUIRE(place != std::string::npos);
        test::writeBytes(folder / "take.take.json", changed.replace(place, from.size(), to));
        const auto loaded = measure::loadTakeRecord(audioFile);
        REQUIRE_FALSE(loaded);
        CHECK_THAT(loaded.error().message,
                   Catch::Contains("take.take.json") && Catch::Contains(key));
    };
    refusedWith("\"noise-floor\"", "\"holiday\"", "purpose");
    refusedWith("\"buffer-full\"", "\"rain\"", "cause");
    refusedWith("44100.0", "1e9", "sampleRate");
    refusedWith("\"write-failed\"", "\"never\"", "end");
    refusedWith("441000", "-1", "numFrames");
}
