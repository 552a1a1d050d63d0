#include "Core/Job/EventRecords.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Job/Job.h"
#include "Core/Report/EventWords.h"
#include "Core/Report/HtmlAppendix.h"
#include "Support/RefusedWrites.h"
#include "Support/TemporaryFolder.h"
#include "Support/WellFormedXml.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using audition::EventRecord;
using Catch::Contains;
using test::TemporaryFolder;

namespace {

EventRecord makeRecord(const std::string& startedAt, std::size_t numListeners)
{
    EventRecord record;
    record.startedAt = startedAt;
    record.changedAt = startedAt;
    record.match = audition::LevelMatch::equalLoudness;
    record.candidates = {{"As delivered", 0}, {"Less <boom>", 1}, {"More treble", 3}};
    record.numListeners = numListeners;
    return record;
}

const std::string first = "2026-05-04T10:20:30.000+02:00";
const std::string second = "2026-06-13T09:00:00.000+02:00";

} // namespace

TEST_CASE("A job without events has none, and that is no problem", "[core][job][event]")
{
    const TemporaryFolder folder;
    const auto events = job::loadEvents(folder.path());
    REQUIRE(events);
    CHECK(events->empty());
}

TEST_CASE("Events are kept in order and each count takes the place of the last",
          "[core][job][event]")
{
    const TemporaryFolder folder;
    REQUIRE(job::storeEvent(folder.path(), makeRecord(first, 4)));
    REQUIRE(job::storeEvent(folder.path(), makeRecord(second, 5)));
    REQUIRE(job::storeEvent(folder.path(), makeRecord(first, 7)));
    const auto events = job::loadEvents(folder.path());
    REQUIRE(events);
    CHECK(*events == std::vector<EventRecord> {makeRecord(first, 7), makeRecord(second, 5)});
}

TEST_CASE("What another version has written into a file of events survives a count",
          "[core][job][event]")
{
    const TemporaryFolder folder;
    REQUIRE(job::storeEvent(folder.path(), makeRecord(first, 4)));
    const auto file = folder.path() / job::eventsFileName;
    auto document = *files::loadJson(file);
    document["weather"] = "fine";
    document["events"][0]["place"] = "tent 3";
    REQUIRE(files::writeTextFile(file, files::jsonText(document)));
    REQUIRE(job::storeEvent(folder.path(), makeRecord(first, 6)));
    const auto kept = *files::loadJson(file);
    CHECK(kept["weather"] == "fine");
    CHECK(kept["events"][0]["place"] == "tent 3");
    CHECK(kept["events"][0]["numListeners"] == 6);
}

TEST_CASE("A file of events that cannot be trusted is named and left as it is",
          "[core][job][event]")
{
    const TemporaryFolder folder;
    const auto file = folder.path() / job::eventsFileName;
    const auto refused = [&](const std::string& text, const std::string& reason) {
        REQUIRE(files::writeTextFile(file, text));
        const auto events = job::loadEvents(folder.path());
        REQUIRE_FALSE(events);
        CHECK_THAT(events.error().message, Contains("events.json") && Contains(reason));
        CHECK_FALSE(job::storeEvent(folder.path(), makeRecord(second, 5)));
        CHECK(*files::readTextFile(file) == text);
    };
    refused("{", "events.json");
    refused(R"({"kind": "saddletone-events", "schemaVersion": 2, "events": []})", "schemaVersion");
    refused(R"({"kind": "saddletone-job", "schemaVersion": 1, "events": []})", "kind");
    refused(R"({"kind": "saddletone-events", "schemaVersion": 1})", "events");
    const auto withEvent = [](const std::string& listeners, const std::string& candidates) {
        return R"({"kind": "saddletone-events", "schemaVersion": 1, "events": [{"startedAt": "x", )"
               R"("numListeners": )"
               + listeners + R"(, "candidates": [)" + candidates + "]}]}";
    };
    refused(withEvent("-1", ""), "numListeners");
    refused(withEvent("1.5", ""), "numListeners");
    refused(withEvent("1", R"({"name": "a", "timesPreferred": 2})"), "numListeners");
    refused(withEvent("1", R"({"timesPreferred": 1})"), "name");
}

TEST_CASE("A count that cannot be written leaves the one before", "[core][job][event]")
{
    const TemporaryFolder folder;
    REQUIRE(job::storeEvent(folder.path(), makeRecord(first, 4)));
    {
        const test::FileSizeLimit full(64);
        const auto stored = job::storeEvent(folder.path(), makeRecord(first, 5));
        REQUIRE_FALSE(stored);
        CHECK_THAT(stored.error().message, Contains("events.json"));
    }
    const auto events = job::loadEvents(folder.path());
    REQUIRE(events);
    CHECK(events->front() == makeRecord(first, 4));
}

TEST_CASE("A check of a job names a broken file of events", "[core][job][event]")
{
    const TemporaryFolder folder;
    job::Job job;
    job.folder = folder.path();
    CHECK(job::checkJob(job).empty());
    REQUIRE(files::writeTextFile(folder.path() / job::eventsFileName, "{}"));
    const auto problems = job::checkJob(job);
    REQUIRE(problems.size() == 1);
    CHECK_THAT(problems.front(), Contains("events.json"));
}

TEST_CASE("Counts of an event are told in words that do not oversell them", "[core][report][event]")
{
    const EventRecord record = makeRecord(first, 7);
    CHECK(report::listenerWords(1) == "1 listener");
    CHECK(report::listenerWords(7) == "7 listeners");
    CHECK(report::likedWords(record)
          == "1 As delivered: never; 2 Less <boom>: once; 3 More treble: 3 times");
    CHECK(report::eventConditionWords(record) == "3 of 7 gave no answer; equal loudness");
    CHECK_THAT(report::eventCaution(), Contains("not a blind test"));
}

TEST_CASE("The appendix of a report has the events that had listeners", "[core][report][event]")
{
    report::ReportContent content;
    CHECK_THAT(report::renderAppendix(content), !Contains("not a blind test"));
    content.events = {makeRecord(second, 0)};
    content.events[0].candidates.clear();
    CHECK_THAT(report::renderAppendix(content), !Contains("not a blind test"));
    content.events.push_back(makeRecord(first, 7));
    const std::string html = report::renderAppendix(content);
    CHECK_THAT(html, Contains("not a blind test") && Contains("2026-05-04")
                         && Contains("2 Less &lt;boom&gt;: once") && Contains("7 listeners")
                         && !Contains("2026-06-13"));
    CHECK(test::xmlProblem(html).empty());
}
