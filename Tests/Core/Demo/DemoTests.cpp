#include "Core/Demo/Demo.h"

#include "Core/Demo/DemoBike.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Job/Job.h"
#include "Core/Measure/Comparison.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;

namespace {

/** Level of a response's third octave re the mean from 500 Hz to 2 kHz. */
double levelAt(const measure::Response& response, double nominalHz)
{
    const auto band =
        std::ranges::find_if(response.bands, [nominalHz](const measure::BandConfidence& candidate) {
            return std::abs(candidate.frequencyHz / nominalHz - 1.0) < 0.012;
        });
    REQUIRE(band != response.bands.end());
    CHECK(band->trusted);
    return band->levelDb - measure::meanBandLevelDb(response, 500.0, 2000.0);
}

measure::Response stateOf(const std::filesystem::path& jobFolder, const std::string& id)
{
    auto response = measure::loadResponse(jobFolder / "states" / (id + ".json"));
    REQUIRE(response);
    return std::move(*response);
}

} // namespace

TEST_CASE("The demo goes through a whole job and shows the facts of the trade it is built on",
          "[core][demo]")
{
    const test::TemporaryFolder folder;
    std::vector<double> shares;
    const auto result = demo::runDemo(folder.path(), "2026-01-02",
                                      [&shares](const std::string&, double doneProportion) {
                                          shares.push_back(doneProportion);
                                          return true;
                                      });
    REQUIRE(result);
    CHECK(shares.size() > 5);
    CHECK(shares.front() == 0.0);
    CHECK(shares.back() < 1.0);
    CHECK(std::ranges::is_sorted(shares));

    const auto stockParked = stateOf(result->jobFolder, "stock-parked");
    const auto stockRunning = stateOf(result->jobFolder, "stock-running");
    const auto alternativeParked = stateOf(result->jobFolder, "alternative-parked");
    const auto alternativeRunning = stateOf(result->jobFolder, "alternative-running");

    // Each fact below: common practice, no source.
    {
        INFO("The stock profile is flat from 200 Hz up, with a slight bump at 160 Hz");
        for (const double hz :
             {200.0,  250.0,  315.0,  400.0,  500.0,  630.0,  800.0,  1000.0,  1250.0,  1600.0,
              2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0, 12500.0, 16000.0})
            CHECK(std::abs(levelAt(stockParked, hz)) < 1.5);
        CHECK(levelAt(stockParked, 160.0) > 1.0);
        CHECK(levelAt(stockParked, 160.0) < 4.0);
    }
    {
        INFO("The stock profile lifts 50 to 125 Hz by about 9 dB");
        double mean = 0.0;
        for (const double hz : {50.0, 63.0, 80.0, 100.0, 125.0}) {
            CHECK(levelAt(stockParked, hz) > 7.0);
            mean += levelAt(stockParked, hz) / 5.0;
        }
        CHECK(mean == Approx(9.0).margin(1.0));
    }
    {
        INFO("Starting the engine switches the stock profile to another curve");
        const auto comparison = measure::compareResponses(stockParked, stockRunning);
        CHECK(comparison.significant);
        CHECK(std::abs(comparison.largestDifferenceDb) > 3.0);
    }
    SECTION("The alternative profile is flat within 2 dB from 80 to 160 Hz, lifts voices and keeps "
            "its curve")
    {
        const auto flatness = measure::flatnessOf(alternativeParked, 80.0, 160.0);
        CHECK(flatness.numBands == 4);
        CHECK(std::abs(flatness.largestDb) < 2.0);
        for (const double hz : {80.0, 100.0, 125.0, 160.0})
            CHECK(std::abs(levelAt(alternativeParked, hz)) < 2.0);
        CHECK(levelAt(alternativeParked, 1600.0) - levelAt(alternativeParked, 315.0) > 1.0);
        const auto comparison = measure::compareResponses(alternativeParked, alternativeRunning);
        CHECK_FALSE(comparison.significant);
        CHECK(std::abs(comparison.largestDifferenceDb) < 0.5);
    }
    {
        INFO("At 75 mph the music stands far below the wind");
        for (const auto& audition : result->auditions)
            if (audition.speedMph == 75.0)
                CHECK(audition.programmeSplDba - audition.noiseSplDba < -15.0);
    }
    {
        INFO("What was measured is what the invented bike is");
        // The simulated bike's two reflections of a tenth and a twentieth move a band by at most
        // 20 log10(1.15) = 1.2 dB; about the middle of the range both levels are relative.
        for (const demo::DemoState& state : demo::demoStates()) {
            const auto response = stateOf(result->jobFolder, state.id);
            for (const double hz : {63.0, 100.0, 250.0, 1000.0, 4000.0, 10000.0})
                CHECK(levelAt(response, hz)
                          - (demo::profileLevelDb(state.profile, hz)
                             - demo::profileLevelDb(state.profile, 1000.0))
                      == Approx(0.0).margin(1.6));
            // The demo's recorder runs 63 ppm fast.
            CHECK(response.clockPpm == Approx(63.0).margin(0.5));
        }
    }
    {
        INFO("Everything is there, labelled as invented, and below the ceiling");
        const auto job = job::loadJob(result->jobFolder);
        REQUIRE(job);
        CHECK(job->invented);
        CHECK(job::checkJob(*job).empty());
        CHECK(stockParked.invented);
        const auto report = files::readTextFile(result->report);
        REQUIRE(report);
        CHECK_THAT(*report, Contains("nvented") && Contains("2026-01-02") && Contains("<svg"));
        CHECK(std::filesystem::exists(folder.path() / "tracks" / "track-list.html"));

        CHECK(result->auditions.size() == 6);
        const auto ceiling =
            static_cast<float>(dsp::dbToAmplitude(-6.0)) + 2.0F / 32768.0F; // and 16-bit dither
        for (const auto& audition : result->auditions) {
            const auto audio = files::readAudioFile(audition.file);
            REQUIRE(audio);
            CHECK(audio->numChannels() == 2);
            for (const auto& channel : audio->channels)
                CHECK(std::ranges::all_of(
                    channel, [ceiling](float sample) { return std::abs(sample) <= ceiling; }));
        }
    }
}

TEST_CASE("A demo that is cancelled says so and has no job to be opened", "[core][demo]")
{
    const test::TemporaryFolder folder;
    int numSteps = 0;
    const auto result =
        demo::runDemo(folder.path(), "2026-01-02",
                      [&numSteps](const std::string&, double) { return ++numSteps < 2; });
    REQUIRE_FALSE(result);
    CHECK(result.error().message == demo::demoCancelledMessage);
    CHECK(numSteps == 2);
    CHECK_FALSE(std::filesystem::exists(folder.path() / "job" / "job.json"));
}
