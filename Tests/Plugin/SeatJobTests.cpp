// Jobs that name headphones and a head, as the program plays them.
#include "Gui/LevelWords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <vector>

using namespace saddletone;
using plugin::AuditionProcessor;
namespace ids = gui::parameterIds;

namespace {

constexpr double sampleRate = 48000.0;
const audition::PartitionLayout layout = audition::PartitionLayout::forTaps(8192);

void addSeat(job::Job& job, double splAtFullScaleDb = 112.0)
{
    test::writeBytes(job.folder / "phone.csv", "50,-3\n200,0\n1000,0\n5000,4\n15000,1\n");
    seat::HeadphoneCalibration calibration;
    calibration.headphone = "On the counter";
    calibration.date = "2026-05-01";
    calibration.source = "ear simulator";
    calibration.measuredSplDb = splAtFullScaleDb - 20.0;
    calibration.measuredLevelDbfs = -20.0;
    REQUIRE(seat::saveHeadphoneCalibration(calibration, job.folder / "level.json"));
    job.seat = {"phone.csv", "", true, "", "level.json"};
    REQUIRE(job::saveJob(job));
}

/** Power of each ear for noise in the left channel alone. */
std::array<double, 2> earPowers(AuditionProcessor& processor)
{
    juce::Random random(3);
    juce::MidiBuffer midi;
    std::array<double, 2> powers {};
    for (int block = 0; block < 200; ++block) {
        juce::AudioBuffer<float> buffer(2, 512);
        buffer.clear();
        for (int frame = 0; frame < 512; ++frame)
            buffer.setSample(0, frame, 0.1F * (2.0F * random.nextFloat() - 1.0F));
        processor.processBlock(buffer, midi);
        for (int ear = 0; ear < 2; ++ear)
            powers[static_cast<std::size_t>(ear)] +=
                std::pow(static_cast<double>(buffer.getRMSLevel(ear, 0, 512)), 2.0);
    }
    return powers;
}

std::array<double, 2> openAndPlay(AuditionProcessor& processor, const job::Job& job)
{
    processor.setPlayConfigDetails(2, 2, sampleRate, 512);
    gui::setParameter(processor.parameters(), ids::monitor, 1.0); // programme only
    processor.openJob(plugin::toFile(job.folder));
    processor.prepareToPlay(sampleRate, 512);
    return earPowers(processor);
}

} // namespace

TEST_CASE("A job with a seat is heard with it, says so and sets the headphones' level",
          "[plugin][seat]")
{
    const test::TemporaryFolder folder;
    job::Job job = test::writeMadeUpJob(folder.path(), "Made-up job");
    {
        AuditionProcessor plain;
        const auto powers = openAndPlay(plain, job);
        CHECK(powers[0] > 0.0);
        CHECK(powers[1] == 0.0);
        CHECK_FALSE(gui::levelWords(plain.snapshot()).contains("corrected"));
        CHECK_FALSE(gui::levelWords(plain.snapshot()).contains("binaural"));
        CHECK(plain.snapshot().headphoneSplDb == 0.0);
    }
    addSeat(job);
    AuditionProcessor seated;
    const auto powers = openAndPlay(seated, job);
    // The far ear hears the left channel as well, with less treble.
    CHECK(powers[1] > 0.01 * powers[0]);
    CHECK(powers[1] < powers[0]);
    CHECK(gui::levelWords(seated.snapshot()).contains("to the headphones (corrected, binaural): "));
    CHECK(seated.snapshot().headphoneSplDb == Approx(112.0).margin(0.06));
}

TEST_CASE("An edited job keeps the filters of its seat, a seat read anew does not",
          "[plugin][seat]")
{
    const test::TemporaryFolder folder;
    job::Job job = test::writeMadeUpJob(folder.path(), "Made-up job");
    addSeat(job);
    const auto loaded = plugin::loadJobForAudition(folder.path());
    REQUIRE(loaded);
    const auto first =
        plugin::buildSceneForAudition(*loaded, plugin::SceneChoice {}, layout, sampleRate, nullptr);
    REQUIRE(first);
    REQUIRE(first->scene->seatFilters != nullptr);

    auto edited = std::make_shared<plugin::LoadedJob>(**loaded);
    edited->request.candidates[2].tuning.chains[0].elements[0].gainDb = -2.0;
    const auto second = plugin::buildSceneForAudition(edited, plugin::SceneChoice {}, layout,
                                                      sampleRate, first->kept.get());
    REQUIRE(second);
    CHECK(second->scene->seatFilters == first->scene->seatFilters);
    const auto& before = first->scene->candidates;
    const auto& after = second->scene->candidates;
    CHECK(after[1].kernels == before[1].kernels);
    CHECK(after[2].kernels[1][0] != nullptr);
    CHECK(after[2].kernels[1][0] != before[2].kernels[1][0]);

    // Another helmet is another scene, for the same seat.
    const auto helmeted =
        plugin::buildSceneForAudition(edited, plugin::SceneChoice {.helmet = ride::Helmet::none},
                                      layout, sampleRate, second->kept.get());
    REQUIRE(helmeted);
    CHECK(helmeted->scene->seatFilters == first->scene->seatFilters);
    CHECK(helmeted->scene->candidates[1].kernels != before[1].kernels);

    const auto reread = plugin::loadJobForAudition(folder.path());
    REQUIRE(reread);
    const auto third = plugin::buildSceneForAudition(*reread, plugin::SceneChoice {}, layout,
                                                     sampleRate, second->kept.get());
    REQUIRE(third);
    CHECK(third->scene->seatFilters != first->scene->seatFilters);
    CHECK(third->scene->candidates[1].kernels != before[1].kernels);
}

TEST_CASE("Headphones whose level cannot be kept are refused", "[plugin][seat]")
{
    const test::TemporaryFolder folder;
    job::Job job = test::writeMadeUpJob(folder.path(), "Made-up job");
    addSeat(job, 75.0);
    const auto refused = plugin::loadJobForAudition(folder.path());
    REQUIRE_FALSE(refused);
    CHECK(refused.error().message.find("level.json") != std::string::npos);
    CHECK(refused.error().message.find("75.0 dB SPL") != std::string::npos);
}
