// Candidates of speaker groups in a job.
#include "Core/Audition/SceneBuilder.h"
#include "Core/Job/BlindRuns.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobReport.h"
#include "Core/Report/BlindWords.h"
#include "Support/AuditionFixtures.h"
#include "Support/PluginJob.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;
using measure::GroupSum;
using measure::SpeakerGroup;
using nlohmann::json;

namespace {

measure::Response groupState(SpeakerGroup speakers, std::uint64_t seed)
{
    measure::Response response;
    response.name = std::string(measure::speakerGroupName(speakers));
    response.state.speakers = speakers;
    response.arrivalFrame = 480;
    response.impulse.assign(480, 0.0F);
    const auto sound = test::decayingNoise(4000, seed);
    response.impulse.insert(response.impulse.end(), sound.begin(), sound.end());
    response.recordingChecksum = "cafe0123";
    response.trackStartSeconds = 1.0;
    response.arrivalSeconds = 3.0 + 0.0005 * static_cast<double>(seed);
    response.bands = {{1000.0, 0.0, 60.0, 0.1, true, 0.0, 0.2}};
    return response;
}

tuning::Tuning rearLater()
{
    tuning::Element delay;
    delay.type = tuning::ElementType::delay;
    delay.delayMs = 2.0;
    return {"rear later", {{SpeakerGroup::rear, {delay}}}};
}

struct GroupJob {
    test::TemporaryFolder folder;
    job::Job job;

    GroupJob()
    {
        job.folder = folder.path();
        job.title = "Made-up job";
        const std::vector<job::StateToAdd> states {{groupState(SpeakerGroup::front, 1), "axle"},
                                                   {groupState(SpeakerGroup::rear, 2), "axle"}};
        const auto ids = job::addGroups(job, states, GroupSum::timed, "both axles", rearLater());
        if (!ids)
            FAIL(ids.error().message);
        CHECK(*ids == std::vector<std::string> {"axle", "axle-2"});
    }

    [[nodiscard]] json document() const { return json::parse(test::bytesOf(folder / "job.json")); }
    void write(const json& document) const
    {
        test::writeBytes(folder / "job.json", document.dump());
    }
};

} // namespace

TEST_CASE("A job keeps a candidate of speaker groups, and hears it", "[core][job][groups]")
{
    GroupJob made;
    const json entry = made.document()["candidates"][0];
    CHECK(entry["stateId"] == "axle");
    CHECK(entry["groupStateIds"] == json {"axle-2"});
    CHECK(entry["groupSum"] == "timed");
    auto loaded = job::loadJob(made.folder.path());
    REQUIRE(loaded);
    CHECK(loaded->candidates == made.job.candidates);
    CHECK(job::checkJob(*loaded).empty());

    const auto request = job::loadSceneRequest(*loaded);
    REQUIRE(request);
    const audition::CandidateRequest& candidate = request->candidates[0];
    REQUIRE(candidate.groups != nullptr);
    CHECK(candidate.groups->laterSeconds[1] == Approx(0.0005).margin(1e-9));
    CHECK(candidate.response.state.speakers == SpeakerGroup::all);
    CHECK(candidate.tuning.chains == rearLater().chains);
    CHECK(audition::buildScene(*request, audition::PartitionLayout::forTaps(8000), 48000.0));

    // Measured at once, the same tuning is refused, by name.
    json document = made.document();
    document["candidates"][0].erase("groupStateIds");
    made.write(document);
    loaded = job::loadJob(made.folder.path());
    REQUIRE(loaded);
    loaded->candidates[0].stateId = "axle";
    CHECK(job::loadSceneRequest(*loaded)); // front alone: the chain is not for it
    loaded->candidates[0].groupStateIds.clear();
    REQUIRE(job::saveJob(*loaded));
    CHECK_FALSE(made.document()["candidates"][0].contains("groupSum"));
}

TEST_CASE("A job says what is wrong with a candidate of speaker groups", "[core][job][groups]")
{
    const GroupJob made;
    const json good = made.document();
    const auto refusedWith = [&](const char* key, const json& value) {
        json document = good;
        document["candidates"][0][key] = value;
        made.write(document);
        const auto loaded = job::loadJob(made.folder.path());
        REQUIRE_FALSE(loaded);
        return loaded.error().message;
    };
    CHECK_THAT(refusedWith("groupStateIds", {"gone"}),
               Contains("candidates[0].groupStateIds") && Contains("'gone'"));
    CHECK_THAT(refusedWith("groupStateIds", "axle-2"), Contains("groupStateIds"));
    CHECK_THAT(refusedWith("groupSum", "loudest"),
               Contains("groupSum") && Contains("timed or power"));

    json document = good;
    document["candidates"][0]["groupStateIds"] = {"axle"};
    made.write(document);
    const auto twice = job::loadJob(made.folder.path());
    REQUIRE(twice);
    const auto problems = job::checkJob(*twice);
    REQUIRE(problems.size() == 1);
    CHECK_THAT(problems[0], Contains("'both axles'") && Contains("heard twice"));

    made.write(good);
    auto reread = job::loadJob(made.folder.path());
    REQUIRE(reread);
    job::Job& job = *reread;
    auto stranger = groupState(SpeakerGroup::rear, 2);
    stranger.recordingChecksum = "another";
    const std::vector<job::StateToAdd> states {{groupState(SpeakerGroup::front, 1), "f"},
                                               {stranger, "r"}};
    const auto refused = job::addGroups(job, states, GroupSum::timed, "no time", {});
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().message, Contains("nobody knows when"));
    CHECK(job.states == made.job.states);
    CHECK(job::addGroups(job, states, GroupSum::power, "in power", {}));
    CHECK(job.candidates.back().groupSum == GroupSum::power);
}

TEST_CASE("A report says what a candidate was put together from and what is estimated",
          "[core][job][groups]")
{
    GroupJob made;
    auto content = job::makeReportContent(made.job, {});
    REQUIRE(content);
    REQUIRE(content->candidates.size() == 1);
    CHECK(content->candidates[0].stateMark == "A + B");
    REQUIRE(content->candidates[0].notes.size() == 1);
    CHECK_THAT(content->candidates[0].notes[0],
               Contains("front and rear") && Contains("one recording"));
    const auto estimates = [&] {
        return std::ranges::count_if(content->estimated, [](const std::string& line) {
            return line.find("added in power") != std::string::npos;
        });
    };
    CHECK(estimates() == 0);
    made.job.candidates[0].groupSum = GroupSum::power;
    content = job::makeReportContent(made.job, {});
    REQUIRE(content);
    CHECK_THAT(content->candidates[0].notes[0], Contains("estimate"));
    CHECK(estimates() == 1);
}

TEST_CASE("A blind run keeps which candidates distorted and what they were put together from",
          "[core][job][groups]")
{
    audition::BlindRun run;
    run.numPlanned = 12;
    run.isAbandoned = true;
    run.candidates = {{"one", "a", {}, 0.0}, {"two", "b", {}, 0.0, true, {"c", "d"}}};
    const auto read = job::blindRunFromJson(job::blindRunToJson(run), "job.json");
    REQUIRE(read);
    CHECK(read->candidates == run.candidates);
    CHECK_FALSE(job::blindRunToJson(run)["candidates"][0].contains("isOverdriven"));
    CHECK_THAT(report::conditionWords(run), Contains("distortion of the speakers as measured")
                                                && Contains("two") && !Contains("one,"));
    run.candidates[0].isOverdriven = true;
    CHECK_THAT(report::conditionWords(run), !Contains("two"));
    run.candidates[0].isOverdriven = run.candidates[1].isOverdriven = false;
    CHECK(report::conditionWords(run) == report::conditionWords(run.conditions));
}
