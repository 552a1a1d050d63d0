// A candidate with an overdrive model in the app.
#include "Core/Measure/HammersteinModel.h"
#include "Plugin/TuningDocument.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;

namespace {

/** A made-up job whose first candidate has a model of its own. */
void writeOverdrivenJob(const std::filesystem::path& folder)
{
    job::Job job = test::writeMadeUpJob(folder, "Overdriven");
    const auto response = measure::loadResponse(folder / "delivered.json");
    REQUIRE(response);
    measure::HammersteinModel model;
    model.name = "Delivered";
    model.sampleRate = response->sampleRate;
    model.arrivalFrame = response->arrivalFrame;
    for (auto& kernel : model.kernels)
        kernel = response->impulse;
    model.takes = {{"loud", -6.0, false}, {"soft", -12.0, false}};
    for (int order = 2; order <= measure::highestHarmonic; ++order)
        model.orders.push_back({order, {{50.0, 2000.0}}, 0.4, "from 50 Hz to 2000 Hz"});
    REQUIRE(measure::saveHammersteinModel(model, folder / "overdrive.json"));
    job.candidates[0].overdriveFile = "overdrive.json";
    REQUIRE(job::saveJob(job));
}

} // namespace

TEST_CASE("A candidate's overdrive model survives editing and saving", "[plugin][tuning]")
{
    const test::TemporaryFolder folder;
    writeOverdrivenJob(folder.path());
    const auto loaded = plugin::loadJobForAudition(folder.path());
    if (!loaded)
        FAIL(loaded.error().message);
    const auto& model = (*loaded)->request.candidates[0].overdrive;
    REQUIRE(model != nullptr);

    const plugin::StoredDocument stored = plugin::readDocument(**loaded, 1);
    plugin::TuningDocument document = stored.document;
    document.candidates[0].name = "Renamed";
    const auto edited =
        plugin::editedJob(**loaded, document, (*loaded)->request.candidates.front());
    CHECK(edited->request.candidates[0].overdrive == model);
    CHECK(edited->request.candidates[1].overdrive == nullptr);
    CHECK(edited->job.candidates[0].overdriveFile == "overdrive.json");

    REQUIRE(plugin::writeDocument(stored, document));
    const auto written = job::loadJob(folder.path());
    REQUIRE(written);
    CHECK(written->candidates[0].name == "Renamed");
    CHECK(written->candidates[0].overdriveFile == "overdrive.json");
    CHECK(written->candidates[1].overdriveFile.empty());
}

TEST_CASE("Only a candidate whose overdrive changed is built anew", "[plugin][tuning]")
{
    constexpr double sampleRate = 48000.0;
    const test::TemporaryFolder folder;
    writeOverdrivenJob(folder.path());
    const auto loaded = plugin::loadJobForAudition(folder.path());
    REQUIRE(loaded);
    const auto layout = audition::PartitionLayout::forTaps(10000);
    const auto first = plugin::buildSceneForAudition(*loaded, {}, layout, sampleRate, nullptr);
    if (!first)
        FAIL(first.error().message);
    CHECK(first->scene->candidates[0].nonlinear != nullptr);
    CHECK(first->scene->candidates[1].nonlinear == nullptr);

    auto changed = std::make_shared<plugin::LoadedJob>(**loaded);
    changed->request.reference = (*loaded)->request.candidates.front();
    changed->request.candidates[1].overdrive = changed->request.candidates[0].overdrive;
    const auto second =
        plugin::buildSceneForAudition(changed, {}, layout, sampleRate, first->kept.get());
    REQUIRE(second);
    CHECK(second->scene->candidates[0].nonlinear == first->scene->candidates[0].nonlinear);
    CHECK(second->scene->candidates[1].nonlinear != nullptr);
}
