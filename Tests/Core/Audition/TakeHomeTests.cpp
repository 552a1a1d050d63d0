#include "Core/Audition/TakeHome.h"

#include "Core/Hearing/Loudness.h"
#include "Core/Hearing/TruePeak.h"
#include "Support/AuditionFixtures.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <string>

using namespace saddletone;
using audition::TakeHomeRequest;

namespace {

/** Two candidates of one measurement: as it is, and with a tuning that makes it 6 dB louder. */
TakeHomeRequest requestIn(const std::filesystem::path& folder)
{
    TakeHomeRequest request;
    measure::Response response;
    response.impulse = test::decayingNoise(9000, 1);
    tuning::Tuning louder;
    louder.name = "louder";
    tuning::Chain chain;
    tuning::Element gain;
    gain.gainDb = 6.0;
    chain.elements.push_back(gain);
    louder.chains.push_back(chain);
    request.scene.candidates.push_back({"As measured", response, {}});
    request.scene.candidates.push_back({"With a \xc3\xa4 tuning", response, louder});
    request.programme = {
        48000.0, {test::gaussianNoise(96000, 0.05, 2), test::gaussianNoise(96000, 0.05, 3)}};
    request.programmeName = "made-up noise";
    request.title = "Made-up job";
    request.bike = "Made-up tourer";
    request.settings.startRampSeconds = 0.0;
    request.parameters.monitor = audition::Monitor::programmeOnly;
    request.folder = folder;
    return request;
}

bool goOn(double)
{
    return true;
}

} // namespace

TEST_CASE("A customer takes home each candidate as it is heard, and a card", "[core][audition]")
{
    const test::TemporaryFolder folder;
    auto request = requestIn(folder / "home");
    request.invented = true;
    double last = 0.0;
    const auto written = audition::writeTakeHome(request, [&](double share) {
        CHECK(share >= last);
        last = share;
        return true;
    });
    REQUIRE(written);
    CHECK(last == Approx(1.0));
    REQUIRE(written->files.size() == 2);
    CHECK(written->files[0].file.filename() == "1-As-measured.flac");
    CHECK(written->files[1].file.filename() == "2-With-a-tuning.flac");
    CHECK(written->files[0].isAsItIsNow);
    CHECK_FALSE(written->files[1].isAsItIsNow);
    CHECK(written->files[1].differenceDb == Approx(6.0).margin(0.01));

    // As on the bike the difference stays. The samples are the engine's, but for 24 bits.
    const auto first = files::readAudioFile(written->files[0].file);
    const auto second = files::readAudioFile(written->files[1].file);
    REQUIRE(first);
    REQUIRE(second);
    CHECK(hearing::integratedLoudnessLufs(*second) - hearing::integratedLoudnessLufs(*first)
          == Approx(6.0).margin(0.02));
    CHECK(written->files[0].loudnessLufs
          == Approx(hearing::integratedLoudnessLufs(*first)).margin(0.02));
    CHECK(written->files[0].truePeakDbtp == Approx(hearing::truePeakDbtp(*first)).margin(0.02));
    CHECK(first->numFrames() == request.programme.numFrames());

    const std::string card = test::bytesOf(written->card);
    for (const char* words :
         {"INVENTED DEMO DATA", "Made-up tourer", "made-up noise", "1-As-measured.flac",
          "2-With-a-tuning.flac", "parked", "full-face helmet", "assumed", "same volume step",
          "+6.0 dB", "Never while riding", "Start with the volume all the way down"}) {
        CAPTURE(words, card);
        CHECK(card.find(words) != std::string::npos);
    }
    for (std::size_t begin = 0; begin < card.size();) {
        const std::size_t end = card.find('\n', begin);
        CHECK(end - begin < 130);
        begin = end + 1;
    }
}

TEST_CASE("Files to take home are equally loud within 0.1 LU where that is chosen",
          "[core][audition]")
{
    const test::TemporaryFolder folder;
    auto request = requestIn(folder.path());
    request.parameters.match = audition::LevelMatch::equalLoudness;
    request.fileType = files::FileType::wav;
    const auto written = audition::writeTakeHome(request, goOn);
    REQUIRE(written);
    CHECK(written->files[1].file.extension() == ".wav");
    CHECK(written->files[1].loudnessLufs == Approx(written->files[0].loudnessLufs).margin(0.1));
    CHECK(test::bytesOf(written->card).find("equal loudness") != std::string::npos);
}

TEST_CASE("Where no candidate is the bike as measured, it is added in front", "[core][audition]")
{
    const test::TemporaryFolder folder;
    auto request = requestIn(folder.path());
    request.scene.candidates.erase(request.scene.candidates.begin());
    const auto written = audition::writeTakeHome(request, goOn);
    REQUIRE(written);
    REQUIRE(written->files.size() == 2);
    CHECK(written->files[0].isAsItIsNow);
    CHECK(written->files[0].file.filename() == "1-as-it-is-now.flac");
    CHECK(written->files[1].differenceDb == Approx(6.0).margin(0.01));
}

TEST_CASE("Cancelled or refused, nothing is written and what was there stays", "[core][audition]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "1-As-measured.flac", "before");
    auto request = requestIn(folder.path());
    for (const double when : {0.0, 0.3, 0.5, 0.95}) {
        CAPTURE(when);
        const auto written =
            audition::writeTakeHome(request, [&](double share) { return share < when; });
        REQUIRE_FALSE(written);
        CHECK(written.error().message == audition::cancelledMessage);
        CHECK(folder.numEntries() == 1);
    }
    request.parameters.monitor = audition::Monitor::untouched;
    CHECK_FALSE(audition::writeTakeHome(request, goOn));
    request = requestIn(folder.path());
    request.programme = {};
    CHECK_FALSE(audition::writeTakeHome(request, goOn));
    CHECK(folder.numEntries() == 1);
    CHECK(test::bytesOf(folder / "1-As-measured.flac") == "before");
}
