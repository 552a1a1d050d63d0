#include "Core/Job/BlindRuns.h"

#include "Core/Files/JsonReader.h"
#include "Core/Job/JobReport.h"
#include "Core/Report/HtmlAppendix.h"
#include "Core/Report/HtmlReport.h"
#include "Support/AuditionFixtures.h"
#include "Support/RefusedWrites.h"
#include "Support/TemporaryFolder.h"
#include "Support/WellFormedXml.h"

#include <tuple>
#include <utility>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using audition::BlindKind;
using audition::BlindRun;
using Catch::Contains;
using nlohmann::json;
using test::TemporaryFolder;

namespace {

/** A run with everything in it; numRight of the ABX answers are right. */
BlindRun makeRun(BlindKind kind, std::size_t numAnswered, std::size_t numRight = 16)
{
    BlindRun run;
    run.kind = kind;
    run.seed = 9007199254740991; // the largest there is
    run.startedAt = "2026-05-04T10:20:30.000+02:00";
    run.isAbandoned = numAnswered < run.numPlanned;
    run.candidates = {{"As delivered", "parked", {}, 0.0}, {"Less boom", "parked", {}, -1.25}};
    tuning::Element cut;
    cut.type = tuning::ElementType::peaking;
    cut.frequencyHz = 150.0;
    cut.gainDb = -6.0;
    run.candidates[1].tuning.name = "Less boom";
    run.candidates[1].tuning.chains.push_back({tuning::OutputGroup::all, {cut}});
    run.conditions.speedKmh = 104.6;
    run.conditions.noiseTrimDb = -3.0;
    run.conditions.helmet = ride::Helmet::openFace;
    run.conditions.programme = "ride.flac";
    run.conditions.programmeFromSeconds = 2.5;
    run.conditions.programmeToSeconds = 63.0;
    const auto order = audition::deriveBlindOrder(kind, 2, numAnswered, run.seed);
    for (std::size_t trial = 0; trial < numAnswered; ++trial) {
        std::size_t answer = trial % 2;
        if (kind == BlindKind::abx) {
            const std::size_t right = order[trial][0] == order[trial][2] ? 0 : 1;
            answer = trial < numRight ? right : 1 - right;
        }
        run.trials.push_back({order[trial], answer});
    }
    return run;
}

/** A job with one measured state and a key of another program. */
void writeJob(const TemporaryFolder& folder)
{
    measure::Response response;
    response.name = "Parked";
    response.state.radioProfile = "stock";
    response.impulse = test::decayingNoise(4000, 1);
    response.arrivalFrame = 100;
    REQUIRE(measure::saveResponse(response, folder / "parked.json"));
    job::Job made;
    made.folder = folder.path();
    made.title = "Tourer";
    made.states = {{"parked", "parked.json"}};
    made.candidates = {{"As delivered", "parked", ""}};
    made.document = std::make_shared<const json>(json {{"ofAnotherProgram", 5}});
    REQUIRE(job::saveJob(made));
}

json documentOf(const TemporaryFolder& folder)
{
    return json::parse(test::bytesOf(folder / "job.json"));
}

} // namespace

TEST_CASE("A blind run comes back from its JSON as it was", "[core][job][blind]")
{
    for (const BlindKind kind : {BlindKind::abx, BlindKind::preference})
        for (const std::size_t numAnswered : {std::size_t {16}, std::size_t {5}, std::size_t {0}}) {
            const BlindRun run = makeRun(kind, numAnswered);
            const auto document = job::blindRunToJson(run);
            // Through text, as on the disk.
            const auto read = job::blindRunFromJson(json::parse(document.dump()), "job.json");
            REQUIRE(read);
            CHECK(*read == run);
        }
    BlindRun bare = makeRun(BlindKind::abx, 16);
    bare.conditions.programme.clear();
    bare.conditions.programmeFromSeconds.reset();
    bare.conditions.programmeToSeconds.reset();
    const auto read = job::blindRunFromJson(job::blindRunToJson(bare), "job.json");
    REQUIRE(read);
    CHECK(*read == bare);
}

TEST_CASE("Runs are added to the job one after the other and nothing else changes",
          "[core][job][blind]")
{
    const TemporaryFolder folder;
    writeJob(folder);
    const json before = documentOf(folder);
    const BlindRun first = makeRun(BlindKind::abx, 16);
    const BlindRun second = makeRun(BlindKind::preference, 3);
    REQUIRE(job::storeBlindRun(folder.path(), first));
    // A key that this version does not know, in a run.
    json document = documentOf(folder);
    document["blindRuns"][0]["room"] = "quiet";
    test::writeBytes(folder / "job.json", document.dump());
    REQUIRE(job::storeBlindRun(folder.path(), second));

    document = documentOf(folder);
    REQUIRE(document["blindRuns"].size() == 2);
    CHECK(document["blindRuns"][0]["room"] == "quiet");
    CHECK(document["blindRuns"][1]["outcome"] == "abandoned");
    document.erase("blindRuns");
    CHECK(document == before);
    CHECK(std::filesystem::exists(folder / "job.previous.json"));

    auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    const auto runs = job::blindRunsOf(*loaded);
    REQUIRE(runs);
    CHECK(*runs == std::vector<BlindRun> {first, second});
    CHECK(job::checkJob(*loaded).empty());
    // And they stay where somebody else saves the job.
    REQUIRE(job::saveJob(*loaded));
    CHECK(documentOf(folder)["blindRuns"].size() == 2);
}

TEST_CASE("A job without blind runs has none", "[core][job][blind]")
{
    const TemporaryFolder folder;
    writeJob(folder);
    const auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    const auto runs = job::blindRunsOf(*loaded);
    REQUIRE(runs);
    CHECK(runs->empty());
}

TEST_CASE("Nothing about the listener is stored", "[core][job][blind]")
{
    const json document = job::blindRunToJson(makeRun(BlindKind::abx, 16));
    std::vector<std::string> keys;
    for (const auto& [key, value] : document.items())
        keys.push_back(key);
    CHECK(keys
          == std::vector<std::string> {"candidates", "conditions", "kind", "orderMethod", "outcome",
                                       "seed", "startedAt", "trials", "trialsPlanned"});
}

TEST_CASE("Broken blind runs are refused with place and reason", "[core][job][blind]")
{
    const auto refusalOf = [](const auto& change) {
        json document = job::blindRunToJson(makeRun(BlindKind::abx, 16));
        change(document);
        const auto read = job::blindRunFromJson(document, "job.json", "blindRuns[2]");
        return read ? std::string("accepted") : read.error().message;
    };
    CHECK_THAT(refusalOf([](json& run) { run["kind"] = "triangle"; }),
               Contains("job.json") && Contains("blindRuns[2]") && Contains("abx or preference"));
    CHECK_THAT(refusalOf([](json& run) { run["outcome"] = "abandoned"; }),
               Contains("16 answers to 16 trials"));
    CHECK_THAT(refusalOf([](json& run) { run["trials"].erase(3); }),
               Contains("15 answers to 16 trials"));
    CHECK_THAT(refusalOf([](json& run) { run["trials"][3]["answer"] = 2; }), Contains("trial 4"));
    CHECK_THAT(refusalOf([](json& run) {
                   run["trials"][3]["order"] = {0, 0, 1};
               }),
               Contains("trial 4"));
    CHECK_THAT(refusalOf([](json& run) {
                   run["trials"][3]["order"] = {0, 1, 0.5};
               }),
               Contains("not whole"));
    CHECK_THAT(refusalOf([](json& run) {
                   run["trials"][3]["order"] = {0, 1};
               }),
               Contains("trial 4"));
    CHECK_THAT(refusalOf([](json& run) { run["trialsPlanned"] = 26; }), Contains("trialsPlanned"));
    CHECK_THAT(refusalOf([](json& run) { run["seed"] = -1; }), Contains("seed"));
    CHECK_THAT(refusalOf([](json& run) { run["orderMethod"] = "dice"; }),
               Contains("splitmix64-shuffle-1"));
    CHECK_THAT(refusalOf([](json& run) { run["candidates"].erase(0); }),
               Contains("two candidates, not 1"));
    CHECK_THAT(refusalOf([](json& run) {
                   run["candidates"][1]["tuning"] = {{"kind", "soup"}};
               }),
               Contains("job.json"));
    CHECK_THAT(refusalOf([](json& run) { run["conditions"]["monitor"] = "noise-only"; }),
               Contains("monitor"));
    CHECK_THAT(refusalOf([](json& run) { run.erase("conditions"); }), Contains("match"));

    const TemporaryFolder folder;
    writeJob(folder);
    json document = documentOf(folder);
    document["blindRuns"] = "none";
    test::writeBytes(folder / "job.json", document.dump());
    const auto stored = job::storeBlindRun(folder.path(), makeRun(BlindKind::abx, 16));
    REQUIRE_FALSE(stored);
    CHECK_THAT(stored.error().message, Contains("blindRuns"));
    CHECK(documentOf(folder) == document);
    const auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    CHECK(job::checkJob(*loaded).size() == 1);
}

TEST_CASE("The report tells of blind runs, and of an abandoned one nothing but that",
          "[core][job][blind][report]")
{
    const TemporaryFolder folder;
    writeJob(folder);
    const auto htmlNow = [&] {
        const auto loaded = job::loadJob(folder.path());
        REQUIRE(loaded);
        job::JobReportOptions options;
        options.dateText = "today";
        const auto content = job::makeReportContent(*loaded, options);
        REQUIRE(content);
        return std::pair {report::renderHtml(*content), report::renderAppendix(*content)};
    };
    CHECK_THAT(htmlNow().first, Contains("No blind test was made."));

    // 15 right answers and then away: had it been 15 of 16, it would have been a result.
    REQUIRE(job::storeBlindRun(folder.path(), makeRun(BlindKind::abx, 15)));
    auto [html, appendix] = htmlNow();
    CHECK(test::xmlProblem(html) == "");
    CHECK(test::xmlProblem(appendix) == "");
    CHECK_THAT(html,
               Contains("No run was finished.") && Contains("Abandoned, without a result: 1."));
    CHECK_THAT(appendix, Contains("Abandoned after 15 of 16 trials: no result."));
    for (const std::string& text : {html, appendix})
        CHECK_THAT(text, !Contains("right (p") && !Contains("difference was heard"));

    REQUIRE(job::storeBlindRun(folder.path(), makeRun(BlindKind::abx, 16, 13)));
    REQUIRE(job::storeBlindRun(folder.path(), makeRun(BlindKind::abx, 16, 9)));
    std::tie(html, appendix) = htmlNow();
    CHECK(test::xmlProblem(html) == "");
    // Tail of the binomial at 13 and 9 of 16: 697/65536 and 26333/65536.
    CHECK_THAT(html, Contains("The difference was heard: 13 of 16 right (p = 0.011).")
                         && Contains("Says nothing either way: 9 of 16 right (p = 0.40).")
                         && Contains("the more often one of them comes out by chance")
                         && Contains("Abandoned, without a result: 1."));
    CHECK_THAT(appendix,
               Contains("The difference was heard: 13 of 16 right (p = 0.011).")
                   && Contains("equal loudness; music with ride noise; 65 mph (105 km/h); "
                               "open-face helmet; noise trimmed by \xE2\x88\x92"
                               "3.0 dB; ride.flac, 0:02 to 1:03"));
}

TEST_CASE("A run that cannot be written is an error and the job stays as it was",
          "[core][job][blind]")
{
    const TemporaryFolder folder;
    writeJob(folder);
    const std::string before = test::bytesOf(folder / "job.json");
    const auto blindRun = makeRun(BlindKind::abx, 16);
    std::filesystem::permissions(folder.path(), std::filesystem::perms::owner_read
                                                    | std::filesystem::perms::owner_exec
                                                    | std::filesystem::perms::others_read
                                                    | std::filesystem::perms::others_exec);
    dsp::Result<void> stored;
    {
        const test::Unprivileged user;
        stored = job::storeBlindRun(folder.path(), blindRun);
    }
    std::filesystem::permissions(folder.path(), std::filesystem::perms::owner_all);
    REQUIRE_FALSE(stored.has_value());
    CHECK_THAT(stored.error().message, Contains(folder.path().string()));
    CHECK(test::bytesOf(folder / "job.json") == before);
    CHECK_FALSE(job::storeBlindRun(folder / "nowhere", makeRun(BlindKind::abx, 16)));
}
