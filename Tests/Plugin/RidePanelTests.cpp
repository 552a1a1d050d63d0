// The ride in detail on Listen, and what of the music remains on it.
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/RideWords.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Support/EditorFixtures.h"
#include "Support/PluginJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <functional>
#include <thread>

using namespace saddletone;
using plugin::AuditionProcessor;
namespace ids = gui::parameterIds;

namespace {

/** A processor with a made-up job that runs at 48 kHz. */
struct Riding {
    test::TemporaryFolder folder;
    job::Job job;
    AuditionProcessor processor;

    Riding() : job(test::writeMadeUpJob(folder.path() / "job", "Made-up job"))
    {
        processor.openJob(plugin::toFile(job.folder));
        waitUntil([this] { return processor.snapshot().job != nullptr; });
        processor.prepareToPlay(48000.0, 512);
    }

    void waitUntil(const std::function<bool()>& isSo)
    {
        constexpr int mostRounds = 2000;
        for (int round = 0; round < mostRounds && !isSo(); ++round) {
            processor.update();
            std::this_thread::sleep_for(std::chrono::milliseconds(10));
        }
        REQUIRE(isSo());
    }

    void set(const char* id, double value) { gui::setParameter(processor.parameters(), id, value); }

    /** What remains once parameters have been taken in. */
    std::shared_ptr<const audition::RoadAudibility> newestRoad()
    {
        waitUntil([this] {
            const auto road = processor.snapshot().road;
            const auto ride = processor.snapshot();
            return road != nullptr
                   && road->noise
                          == audition::noiseSpectrum(ride.ride, ride.choice)
                                 .raisedBy(ride.noiseTrimDb)
                   && road->exposure.earPlugDb == ride.levels.plugLossDb;
        });
        return processor.snapshot().road;
    }
};

bool contains(const juce::StringArray& sentences, const juce::String& words)
{
    return sentences.joinIntoString(" ").contains(words);
}

} // namespace

TEST_CASE("The processor says what of the music remains at the speed", "[plugin][ride]")
{
    Riding riding;
    riding.set(ids::speedKmh, 0.0);
    const auto parked = riding.newestRoad();
    CHECK(parked->music.shareOfScale == Approx(1.0).margin(0.02));
    riding.set(ids::speedKmh, 120.0);
    const auto fast = riding.newestRoad();
    CHECK(fast->music.shareOfScale < parked->music.shareOfScale);
    CHECK(fast->music.loudness.share() < 0.7);

    // The same numbers as the core's, for pink noise: no programme is loaded in a host.
    const gui::AuditionSnapshot snapshot = riding.processor.snapshot();
    CHECK(fast->noise.totalDb(dsp::Weighting::a)
          == Approx(snapshot.levels.noise.totalDba).margin(0.5));
    CHECK(fast->programme.totalDb(dsp::Weighting::a)
          == Approx(snapshot.levels.programmeSplDba).margin(0.5));
}

TEST_CASE("Screen, plugs, engine and volume reach the levels", "[plugin][ride]")
{
    Riding riding;
    riding.set(ids::speedKmh, 100.0);
    const auto plain = riding.processor.snapshot().levels;
    riding.set(ids::screen, 2.0);
    const auto screened = riding.processor.snapshot().levels;
    CHECK(screened.noise.windDba == Approx(plain.noise.windDba - 10.0));
    riding.set(ids::earPlugs, 1.0);
    CHECK(riding.processor.snapshot().levels.plugLossDb == 25.0);
    riding.set(ids::engineNoise, 2.0);
    CHECK(riding.processor.snapshot().levels.noise.engineDba == dsp::silenceDb);
    riding.set(ids::radioVolumeDb, 6.0);
    CHECK(riding.processor.snapshot().levels.radioGainDb == Approx(6.0).margin(0.05));
    const auto road = riding.newestRoad();
    CHECK(road->exposure.earPlugDb == 25.0);
}

TEST_CASE("The ride opens by its key over the curves and closes again", "[plugin][editor][ride]")
{
    test::RecordingModel model;
    model.openMadeUpJob(2);
    gui::AuditionEditor editor(model);
    editor.refresh();
    CHECK_FALSE(editor.ride().isVisible());
    CHECK(editor.keyPressed(juce::KeyPress('r', {}, 'r')));
    CHECK(editor.ride().isVisible());
    CHECK(editor.ride().getHeight() > 150);
    CHECK(editor.keyPressed(juce::KeyPress('R', {}, 'R')));
    CHECK_FALSE(editor.ride().isVisible());
}

TEST_CASE("What remains is said in words, with the dose and its remedies", "[plugin][ride]")
{
    gui::AuditionSnapshot snapshot;
    CHECK(gui::roadFinding(snapshot)->headline.contains("Open a job"));
    test::RecordingModel model;
    model.openMadeUpJob(1);
    snapshot = model.current;
    CHECK_FALSE(gui::roadFinding(snapshot).has_value());

    snapshot.choice.speedKmh = 120.0;
    audition::RoadAudibility road;
    road.programme = hearing::pinkSpectrum().raisedBy(78.0);
    road.noise = audition::noiseSpectrum(snapshot.ride, snapshot.choice);
    road.music = hearing::assessAudibility({road.programme, road.noise, 0.0, {}});
    road.exposure = {.noiseDba = 104.0, .musicDba = 90.0, .hours = 1.0, .earPlugDb = 0.0};
    road.dose = hearing::assessExposure(road.exposure);
    road.powerRatio = 8.0;
    snapshot.levels.noise = audition::noiseLevels(snapshot.ride, snapshot.choice);
    snapshot.road = std::make_shared<const audition::RoadAudibility>(road);
    const auto finding = gui::roadFinding(snapshot);
    REQUIRE(finding);
    CHECK(finding->headline.contains("75 mph"));
    CHECK(finding->headline.contains("of the music's range is heard"));
    CHECK(contains(finding->sentences, "Drowned: "));
    CHECK(contains(finding->sentences, "more volume"));
    CHECK(contains(finding->sentences, "8.0 times the amplifier power"));
    CHECK(contains(finding->sentences, "ear plugs"));
    CHECK(contains(finding->sentences, "not medical or legal advice"));
    CHECK(contains(finding->sentences, "estimate"));
    CHECK(contains(finding->sentences, "a known headphone level would say"));

    // 90 dB(A) of music and the noise against 74 dB(A) in the headphones.
    snapshot.headphoneSplDb = 110.0;
    snapshot.ceilingDba = 80.0;
    const double roadDba =
        dsp::powerToDb(dsp::dbToPower(90.0) + dsp::dbToPower(snapshot.levels.noise.totalDba));
    CHECK(contains(gui::roadFinding(snapshot)->sentences,
                   "at 74 dB(A), " + juce::String(juce::roundToInt(roadDba - 74.0))
                       + " dB below it"));
}

TEST_CASE("Every figure behind the noise is shown with its status", "[plugin][ride]")
{
    test::RecordingModel model;
    model.openMadeUpJob(1);
    model.current.choice.speedKmh = 100.0;
    const gui::FindingView finding = gui::noiseFinding(model.current);
    const auto figures = audition::noiseFigures(model.current.ride, model.current.choice);
    REQUIRE(static_cast<std::size_t>(finding.sentences.size()) == figures.size());
    CHECK(contains(finding.sentences, "(sourced: "));
    CHECK(contains(finding.sentences, "(judgement: "));
}
