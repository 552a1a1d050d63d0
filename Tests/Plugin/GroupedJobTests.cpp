// A candidate that is put together from speaker groups, in the app.
#include "Core/Audition/OfflineRender.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Plugin/TuningCurves.h"
#include "Plugin/TuningDocument.h"
#include "Support/AuditionFixtures.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

using namespace saddletone;
using measure::GroupSum;
using measure::SpeakerGroup;
namespace ids = gui::parameterIds;

namespace {

measure::Response groupState(SpeakerGroup speakers, double laterMs)
{
    measure::Response response;
    response.name = std::string(measure::speakerGroupName(speakers));
    response.state.speakers = speakers;
    response.arrivalFrame = 4800;
    response.impulse.assign(24000, 0.0F);
    response.impulse[4800] = 0.2F;
    response.recordingChecksum = "cafe0123";
    response.trackStartSeconds = 1.0;
    response.arrivalSeconds = 3.0 + 0.001 * laterMs;
    return response;
}

tuning::Tuning rearLater()
{
    tuning::Element delay;
    delay.type = tuning::ElementType::delay;
    delay.delayMs = 1.0;
    return {"rear later", {{SpeakerGroup::rear, {delay}}}};
}

/** A made-up job whose last candidate is of two axles, heard with corrected headphones. */
void writeGroupedJob(const std::filesystem::path& folder, GroupSum sum)
{
    job::Job job = test::writeMadeUpJob(folder, "Grouped");
    const std::vector<job::StateToAdd> states {{groupState(SpeakerGroup::front, 0.0), "front"},
                                               {groupState(SpeakerGroup::rear, 0.0), "rear"}};
    const auto added = job::addGroups(job, states, sum, "both axles", rearLater());
    if (!added)
        FAIL(added.error().message);
    test::writeBytes(folder / "phone.csv", "50,-3\n200,0\n1000,0\n5000,4\n15000,1\n");
    job.seat = {"phone.csv", "", true, "", ""};
    REQUIRE(job::saveJob(job));
}

} // namespace

TEST_CASE("Speaker groups and the seat survive editing and saving", "[plugin][tuning][groups]")
{
    const test::TemporaryFolder folder;
    writeGroupedJob(folder.path(), GroupSum::timed);
    const auto loaded = plugin::loadJobForAudition(folder.path());
    if (!loaded)
        FAIL(loaded.error().message);
    const std::size_t last = (*loaded)->request.candidates.size() - 1;
    const auto& groups = (*loaded)->request.candidates[last].groups;
    REQUIRE(groups != nullptr);
    REQUIRE((*loaded)->request.seat != nullptr);

    const plugin::StoredDocument stored = plugin::readDocument(**loaded, 1);
    plugin::TuningDocument document = stored.document;
    document.candidates[last].elements[0].element.delayMs = 2.0;
    const auto edited =
        plugin::editedJob(**loaded, document, (*loaded)->request.candidates.front());
    CHECK(edited->request.candidates[last].groups == groups);
    CHECK(edited->request.candidates[0].groups == nullptr);
    CHECK(edited->request.seat == (*loaded)->request.seat);
    const auto layout = audition::PartitionLayout::forTaps(10000);
    CHECK(plugin::buildSceneForAudition(edited, {}, layout, 48000.0, nullptr));

    REQUIRE(plugin::writeDocument(stored, document));
    const auto written = job::loadJob(folder.path());
    REQUIRE(written);
    CHECK(written->candidates[last].allStateIds() == (*loaded)->job.candidates[last].allStateIds());
}

TEST_CASE("The curve of speaker groups has the comb of their delay", "[plugin][tuning][groups]")
{
    const test::TemporaryFolder folder;
    writeGroupedJob(folder.path(), GroupSum::timed);
    const auto loaded = plugin::loadJobForAudition(folder.path());
    REQUIRE(loaded);
    const auto document = plugin::readDocument(**loaded, 1).document;
    const auto change = plugin::appliedLevelDbOf(document.candidates.back());
    // Two clicks, one a millisecond later: |cos(pi f 1 ms)| against both at once, mean power of a
    // twelfth of an octave.
    for (const double frequencyHz : {100.0, 250.0, 333.0, 1000.0, 1250.0}) {
        double power = 0.0;
        for (int part = 0; part < 101; ++part) {
            const double hz = frequencyHz * std::exp2((part - 50) / 1200.0);
            power += std::pow(std::cos(std::numbers::pi * hz * 0.001), 2.0) / 101.0;
        }
        CHECK(change(frequencyHz) == Approx(10.0 * std::log10(power)).margin(0.1));
    }
    CHECK(change(500.0) < -25.0);
}

TEST_CASE("Groups added in power are called an estimate on the screen", "[plugin][groups]")
{
    const test::TemporaryFolder folder;
    writeGroupedJob(folder.path(), GroupSum::power);
    const auto loaded = plugin::loadJobForAudition(folder.path());
    REQUIRE(loaded);
    const auto built = plugin::buildSceneForAudition(
        *loaded, {}, audition::PartitionLayout::forTaps(10000), 48000.0, nullptr);
    REQUIRE(built);
    CHECK(built->kept->view->candidates.back().name == "both axles (estimate)");
    CHECK(built->kept->view->candidates.front().name.indexOf("estimate") < 0);
}
