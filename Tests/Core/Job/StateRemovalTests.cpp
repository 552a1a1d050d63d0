#include "Core/Job/StateRemoval.h"

#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

/** The small job with two more states of its measurement, the last of which is proposed. */
job::Job makeJobOfThree(const std::filesystem::path& folder)
{
    job::Job made = test::makeSmallJob(folder);
    const auto response = measure::loadResponse(folder / made.states.front().file);
    REQUIRE(response);
    for (const char* const name : {"second", "third"})
        REQUIRE(job::addState(made, *response, name, name));
    made.candidates.back().isProposed = true;
    REQUIRE(job::saveJob(made));
    return made;
}

} // namespace

TEST_CASE("A state is taken out with what rests on it, and put back where it was", "[core][job]")
{
    const test::TemporaryFolder folder;
    job::Job made = makeJobOfThree(folder.path());
    job::JobCandidate again = made.candidates[1];
    again.name = "second, another way";
    made.candidates.push_back(again);
    REQUIRE(job::saveJob(made));
    const auto before = made;
    const auto files = test::filesBelow(folder / "states");
    const auto takenOut = job::takeOutState(made, before.states[1].id);
    REQUIRE(takenOut);
    CHECK(takenOut->candidates.size() == 2);
    REQUIRE(job::saveJob(made));
    auto without = job::loadJob(folder.path());
    REQUIRE(without);
    CHECK(without->states.size() == 2);
    CHECK(without->candidates.size() == 2);
    CHECK(job::checkJob(*without).empty());
    CHECK(test::filesBelow(folder / "states") == files);

    REQUIRE(job::putBackState(*without, *takenOut));
    CHECK(without->states == before.states);
    CHECK(without->candidates == before.candidates);
    REQUIRE(job::saveJob(*without));
    CHECK(job::checkJob(*without).empty());
}

TEST_CASE("A state that cannot be taken out or put back leaves the job as it was", "[core][job]")
{
    const test::TemporaryFolder folder;
    job::Job made = makeJobOfThree(folder.path());
    const auto before = made;
    const auto unchanged = [&] {
        return made.states == before.states && made.candidates == before.candidates;
    };
    CHECK_FALSE(job::takeOutState(made, "nowhere"));
    CHECK(unchanged());
    auto takenOut = job::takeOutState(made, before.states.back().id);
    REQUIRE(takenOut);
    REQUIRE(job::putBackState(made, *takenOut));
    CHECK_FALSE(job::putBackState(made, *takenOut)); // its id is taken
    CHECK(unchanged());

    // Nothing else may lose its proposal, and the file has to be there.
    REQUIRE(job::takeOutState(made, before.states.back().id));
    made.candidates.front().isProposed = true;
    REQUIRE(job::putBackState(made, *takenOut));
    CHECK_FALSE(made.candidates.back().isProposed);
    REQUIRE(job::takeOutState(made, before.states.back().id));
    std::filesystem::remove(folder / takenOut->state.file);
    const auto gone = job::putBackState(made, *takenOut);
    REQUIRE_FALSE(gone);
    CHECK(gone.error().code == dsp::ErrorCode::notFound);
    takenOut->state.file = "../outside.json";
    CHECK_FALSE(job::putBackState(made, *takenOut));
    CHECK(made.states.size() == 2);

    takenOut->state.file = before.states.front().file;
    made.candidates.resize(audition::maxCandidates, before.candidates.front());
    CHECK_FALSE(job::putBackState(made, *takenOut));
}
