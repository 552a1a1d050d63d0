#include "Core/Job/Job.h"

#include "Core/Tuning/TuningFile.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;

TEST_CASE("A stored tuning takes a name of its own and leaves the job as it is", "[core][job]")
{
    const test::TemporaryFolder folder;
    job::Job job;
    job.folder = folder.path();
    REQUIRE(job::saveJob(job));
    tuning::Tuning tuning;
    tuning.name = "Less boom, 2nd try";
    tuning::Element cut;
    cut.gainDb = -3.0;
    tuning.chains = {{tuning::OutputGroup::all, {cut}}};

    const auto first = job::storeTuning(job, tuning::tuningToJson(tuning), tuning.name);
    REQUIRE(first);
    CHECK(*first == "tunings/Less-boom--2nd-try.json");
    const auto second = job::storeTuning(job, tuning::tuningToJson(tuning), tuning.name);
    REQUIRE(second);
    CHECK(*second != *first);
    for (const std::string& file : {*first, *second}) {
        const auto read = tuning::loadTuning(folder.path() / file);
        REQUIRE(read);
        CHECK(*read == tuning);
    }
    const auto reread = job::loadJob(folder.path());
    REQUIRE(reread);
    CHECK(reread->candidates.empty());
}
