// Scenes for a listener's headphones and head.
#include "Core/Audition/OfflineRender.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Audition/TakeHome.h"
#include "Core/Seat/ListenerSeat.h"
#include "Support/AuditionFixtures.h"
#include "Support/ProgrammeMeasures.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <memory>
#include <string>

using namespace saddletone;
using audition::SceneRequest;

namespace {

constexpr double sampleRate = 48000.0;
constexpr std::size_t periodFrames = std::size_t {1} << 19U;

SceneRequest bike(std::shared_ptr<const seat::ListenerSeat> seat)
{
    measure::Response response;
    response.impulse.assign(9600, 0.0F);
    response.arrivalFrame = 4800;
    response.impulse[4800] = 0.3F;
    const auto tail = test::decayingNoise(4000, 7);
    for (std::size_t tap = 0; tap < tail.size(); ++tap)
        response.impulse[4850 + tap] += 0.1F * tail[tap];
    SceneRequest request;
    request.candidates = {{"bike", response, {}}, {"bike again", response, {}}};
    request.candidates[1].tuning.chains = {{tuning::OutputGroup::all, {tuning::Element {}}}};
    request.candidates[1].tuning.chains[0].elements[0].gainDb = 6.0;
    request.seat = std::move(seat);
    return request;
}

std::shared_ptr<const seat::ListenerSeat> binaural()
{
    seat::SeatSettings settings;
    settings.isBinaural = true;
    auto seat = seat::loadListenerSeat(settings);
    REQUIRE(seat);
    return *std::move(seat);
}

/** The reference programme, a noise of its own in each channel, through the first candidate. */
audition::Rendering renderPink(const SceneRequest& request)
{
    audition::AuditionEngine::Parameters parameters;
    parameters.monitor = audition::Monitor::programmeOnly;
    parameters.ceilingDbfs = 0.0;
    auto rendering =
        audition::renderAudition(request, test::referencePinkNoise(sampleRate, periodFrames, 2),
                                 test::promptSettings(), parameters);
    REQUIRE(rendering);
    for (auto& ear : rendering->audio.channels)
        ear.erase(ear.begin(), ear.begin() + periodFrames);
    return std::move(*rendering);
}

double levelOf(const audition::Rendering& rendering)
{
    double power = 0.0;
    for (const auto& ear : rendering.audio.channels)
        power += 0.5 * std::pow(10.0, 0.1 * test::levelDbfsA(ear, sampleRate));
    return 10.0 * std::log10(power);
}

} // namespace

TEST_CASE("Levels and loudness are those without a seat, and what is heard stays near them",
          "[core][audition][seat]")
{
    const auto layout = audition::PartitionLayout::forTaps(32640);
    const auto plain = audition::buildScene(bike(nullptr), layout, sampleRate);
    const auto seated = audition::buildScene(bike(binaural()), layout, sampleRate);
    REQUIRE(plain);
    REQUIRE(seated);
    CHECK(plain->seatFilters == nullptr);
    REQUIRE(seated->seatFilters != nullptr);
    CHECK(seated->reference == plain->reference);
    for (std::size_t index = 0; index < 2; ++index) {
        CHECK(seated->candidates[index].level == plain->candidates[index].level);
        CHECK(seated->candidates[index].matchGainDb == plain->candidates[index].matchGainDb);
        for (std::size_t ear = 0; ear < audition::numEars; ++ear)
            for (std::size_t input = 0; input < audition::numEars; ++input) {
                CHECK(seated->candidates[index].kernels[ear][input] != nullptr);
                CHECK((plain->candidates[index].kernels[ear][input] != nullptr) == (ear == input));
            }
    }

    const auto without = renderPink(bike(nullptr));
    const auto with = renderPink(bike(binaural()));
    CHECK(with.levels.programmeSplDba == without.levels.programmeSplDba);
    CHECK(with.levels.outputDbfsA == without.levels.outputDbfsA);
    // 1 dB: what on-axis placement promises in third octaves.
    INFO("A-weighted: " << levelOf(with) - levelOf(without) << " dB");
    CHECK(std::abs(levelOf(with) - levelOf(without)) < 1.0);
    const auto loudnessOf = [](const audition::Rendering& rendering) {
        return test::loudnessLufs(rendering.audio.channels[0], rendering.audio.channels[1],
                                  sampleRate);
    };
    INFO("loudness: " << loudnessOf(with) - loudnessOf(without) << " LU");
    CHECK(std::abs(loudnessOf(with) - loudnessOf(without)) < 1.0);
}

TEST_CASE("Filters of the same seat and rate are taken over, others are made anew",
          "[core][audition][seat]")
{
    const auto layout = audition::PartitionLayout::forTaps(8000);
    SceneRequest request = bike(binaural());
    const auto first = audition::buildScene(request, layout, sampleRate);
    REQUIRE(first);
    request.seatFilters = first->seatFilters;
    const auto second = audition::buildScene(request, layout, sampleRate);
    REQUIRE(second);
    CHECK(second->seatFilters == first->seatFilters);
    const auto other = audition::buildScene(request, layout, 44100.0);
    REQUIRE(other);
    CHECK(other->seatFilters != first->seatFilters);
    CHECK(other->seatFilters->sampleRate() == 44100.0);
    request.seat = binaural();
    const auto reread = audition::buildScene(request, layout, sampleRate);
    REQUIRE(reread);
    CHECK(reread->seatFilters != first->seatFilters);
    request.seat = nullptr;
    const auto none = audition::buildScene(request, layout, sampleRate);
    REQUIRE(none);
    CHECK(none->seatFilters == nullptr);
}

TEST_CASE("What is taken home is for other headphones, or for those corrected, and keeps the head",
          "[core][audition][seat]")
{
    const test::TemporaryFolder folder;
    std::string card;
    const auto firstFileWith = [&](std::shared_ptr<const seat::ListenerSeat> seat,
                                   const std::string& name, bool keepsCorrection = false) {
        audition::TakeHomeRequest request;
        request.scene = bike(std::move(seat));
        request.programme = {
            sampleRate, {test::gaussianNoise(9600, 0.05, 2), test::gaussianNoise(9600, 0.05, 3)}};
        request.programmeName = "made-up noise";
        request.settings.startRampSeconds = 0.0;
        request.fileType = files::FileType::wav;
        request.keepsCorrection = keepsCorrection;
        request.folder = folder / name;
        const auto written = audition::writeTakeHome(request, [](double) { return true; });
        REQUIRE(written);
        card = test::bytesOf(written->card);
        // Lines are broken between words.
        for (std::size_t place = 0; (place = card.find("\n  ", place)) != std::string::npos;)
            card.replace(place, 3, " ");
        const auto audio = files::readAudioFile(written->files.front().file);
        REQUIRE(audio);
        return audio->channels;
    };
    const auto says = [&card](const std::string& words) {
        return card.find(words) != std::string::npos;
    };
    const auto head = binaural();
    seat::ListenerSeat corrected;
    corrected.headphone =
        files::FrequencyTable {{50.0, 1000.0, 5000.0, 12000.0}, {4.0, 0.0, 5.0, 0.0}, {}};
    corrected.headphoneSource = "shop/made-up.csv";
    const auto correctedSeat = std::make_shared<seat::ListenerSeat>(corrected);
    seat::ListenerSeat both = *head;
    both.headphone = corrected.headphone;
    const auto plain = firstFileWith(nullptr, "plain");
    CHECK(says("not corrected for any headphones"));
    CHECK(says("Left is heard at the left ear"));
    const auto placed = firstFileWith(head, "placed");
    CHECK(says("heard from where they stand"));
    CHECK(says("for headphones and not for loudspeakers"));
    CHECK(says(head->head->description));
    CHECK(placed != plain);
    CHECK(firstFileWith(correctedSeat, "corrected") == plain);
    CHECK(says("In the shop what is heard was corrected"));
    CHECK(firstFileWith(std::make_shared<seat::ListenerSeat>(both), "both") == placed);
    CHECK(firstFileWith(correctedSeat, "kept", true) != plain);
    CHECK(says("'made-up.csv'"));
    CHECK(says("for these headphones alone"));
}
