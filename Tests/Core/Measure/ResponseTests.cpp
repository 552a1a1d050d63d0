#include "Core/Measure/Response.h"

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Support/TemporaryFolder.h"

#include <cmath>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;

namespace {

measure::Response makeResponse()
{
    measure::Response response;
    response.name = "Profile \"A\", parked";
    response.state = {"A", measure::EngineState::idle, 0.0, "head", "17"};
    response.invented = true;
    response.impulse.assign(9600, 0.0F);
    response.arrivalFrame = 480;
    std::vector<double> impulse(9600 - 480, 0.0);
    impulse.front() = 1.0;
    dsp::filterInPlace(dsp::bilinearBiquad(dsp::analoguePeaking(1000.0, 2.0, 6.0), 48000.0),
                       impulse);
    std::copy(impulse.begin(), impulse.end(), response.impulse.begin() + 480);
    response.clockPpm = -12.5;
    response.snrDb = 44.0;
    response.hasCalibration = true;
    response.calibration = {94.0, -26.0};
    response.bands = {{1000.0, 3.0, 50.0, 0.02, true, 0.03, 0.08},
                      {1258.93, 2.0, 8.0, 0.6, false, 0.0, 1.2}};
    response.distortion = {{2, {{100.0, -40.0, -70.0}, {125.893, -42.5, -71.0}}},
                           {3, {{100.0, -60.0, -59.0}}}};
    response.polarity = measure::Polarity::negative;
    response.polarityReason = "phase of the direct sound: 170 degrees";
    response.arrivalSeconds = 3.25;
    response.remarks = {"a remark with ünicode"};
    return response;
}

void editJson(const std::filesystem::path& file, const std::function<void(nlohmann::json&)>& edit)
{
    auto json = files::loadJson(file);
    REQUIRE(json);
    edit(*json);
    REQUIRE(files::writeTextFile(file, files::jsonText(*json)));
}

} // namespace

TEST_CASE("A response survives being written and read", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto file = folder.path() / "sub" / "a.state.json";
    const auto written = makeResponse();
    REQUIRE(measure::saveResponse(written, file));
    const auto read = measure::loadResponse(file);
    REQUIRE(read);
    CHECK(read->name == written.name);
    CHECK(read->state == written.state);
    CHECK(read->invented);
    CHECK(read->impulse == written.impulse);
    CHECK(read->arrivalFrame == written.arrivalFrame);
    CHECK(read->bands == written.bands);
    CHECK(read->remarks == written.remarks);
    CHECK(read->hasCalibration);
    CHECK(read->calibration == written.calibration);
    CHECK(read->clockPpm == written.clockPpm);
    CHECK(read->distortion == written.distortion);
    CHECK(read->polarity == written.polarity);
    CHECK(read->polarityReason == written.polarityReason);
    CHECK(read->arrivalSeconds == written.arrivalSeconds);
    CHECK(read->distortion[0].levels[0].significant());
    CHECK_FALSE(read->distortion[1].levels[0].significant());
}

TEST_CASE("A state that cannot be written leaves no impulse response behind", "[core][measure]")
{
    const test::TemporaryFolder folder;
    std::filesystem::create_directories(folder / "state.json");
    CHECK_FALSE(measure::saveResponse(makeResponse(), folder / "state.json"));
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("A state file from before distortion, spread and polarity were stored is still read",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto file = folder.path() / "a.json";
    REQUIRE(measure::saveResponse(makeResponse(), file));
    editJson(file, [](nlohmann::json& json) {
        json.erase("distortion");
        json.erase("polarity");
        json.erase("arrivalSeconds");
        for (auto& band : json["bands"]) {
            band.erase("spreadDb");
            band.erase("interval95Db");
        }
    });
    const auto read = measure::loadResponse(file);
    REQUIRE(read);
    CHECK(read->distortion.empty());
    CHECK(read->polarity == measure::Polarity::unclear);
    CHECK(read->arrivalSeconds == 0.0);
    CHECK(read->bands[0].spreadDb == 0.0);
    CHECK(read->bands[0].interval95Db == Approx(0.04)); // two standard deviations
}

TEST_CASE("Wrong distortion and polarity are refused and named", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto file = folder.path() / "a.json";
    REQUIRE(measure::saveResponse(makeResponse(), file));
    SECTION("level of a harmonic")
    {
        editJson(file, [](nlohmann::json& json) {
            json["distortion"][0]["levels"][1]["levelDb"] = "loud";
        });
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK_THAT(read.error().message, Contains("distortion") && Contains("levelDb"));
    }
    SECTION("polarity")
    {
        editJson(file, [](nlohmann::json& json) { json["polarity"]["sign"] = "sideways"; });
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK_THAT(read.error().message, Contains("polarity") && Contains("positive"));
    }
}

TEST_CASE("Magnitudes of a response follow the filter it was made with", "[core][measure]")
{
    const auto response = makeResponse();
    const auto filter = dsp::bilinearBiquad(dsp::analoguePeaking(1000.0, 2.0, 6.0), 48000.0);
    const std::vector<double> grid {100.0, 700.0, 1000.0, 1500.0, 15000.0};
    const auto exact = response.at(grid);
    const auto smoothed = response.magnitudeDb(grid, 24);
    const auto unsmoothed = response.magnitudeDb(grid, 0);
    for (std::size_t index = 0; index < grid.size(); ++index) {
        const auto truth = filter.response(grid[index], 48000.0);
        CHECK(std::abs(exact[index] - truth) < 1e-5);
        CHECK(unsmoothed[index] == Approx(20.0 * std::log10(std::abs(truth))).margin(1e-4));
        // A twenty-fourth of an octave is narrow against a bandwidth of half an octave.
        CHECK(smoothed[index] == Approx(20.0 * std::log10(std::abs(truth))).margin(0.03));
    }
}

TEST_CASE("A state file that is wrong is refused and says where", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto file = folder.path() / "a.json";
    REQUIRE(measure::saveResponse(makeResponse(), file));

    SECTION("newer schema")
    {
        editJson(file, [](auto& json) { json["schemaVersion"] = 99; });
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK(read.error().code == dsp::ErrorCode::newerSchema);
    }
    SECTION("wrong type")
    {
        editJson(file, [](auto& json) { json["sampleRate"] = "fast"; });
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK_THAT(read.error().message, Contains("sampleRate") && Contains("number"));
    }
    SECTION("another kind of file")
    {
        editJson(file, [](auto& json) { json["kind"] = "saddletone-tuning"; });
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK_THAT(read.error().message, Contains("kind"));
    }
    SECTION("impulse outside the folder")
    {
        editJson(file, [](auto& json) { json["impulse"]["file"] = "../a.impulse.wav"; });
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK_THAT(read.error().message, Contains("without folders"));
    }
    SECTION("impulse changed since")
    {
        auto other = makeResponse();
        other.impulse[500] += 0.25F;
        const auto otherFile = folder.path() / "b.json";
        REQUIRE(measure::saveResponse(other, otherFile));
        std::filesystem::rename(folder.path() / "b.impulse.wav", folder.path() / "a.impulse.wav");
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK_THAT(read.error().message, Contains("checksum"));
    }
    SECTION("impulse missing")
    {
        std::filesystem::remove(folder.path() / "a.impulse.wav");
        const auto read = measure::loadResponse(file);
        REQUIRE_FALSE(read);
        CHECK_THAT(read.error().message, Contains("a.impulse.wav"));
    }
}
