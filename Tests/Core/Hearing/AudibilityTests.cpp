#include "Core/Hearing/Audibility.h"

#include "Core/Hearing/Masking.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <set>
#include <string>

using namespace saddletone;
using hearing::assessAudibility;
using hearing::AudibilityRequest;
using hearing::audibleShare;
using hearing::drowningSpeedKmh;
using hearing::ThirdOctaveSpectrum;

namespace {

AudibilityRequest pinkInPink(double programmeDb, double noiseDb)
{
    AudibilityRequest request;
    request.programme = hearing::pinkSpectrum().raisedBy(programmeDb);
    request.noise = hearing::pinkSpectrum().raisedBy(noiseDb);
    return request;
}

ThirdOctaveSpectrum windAt(double speedKmh, ride::Helmet helmet)
{
    ride::RideParameters parameters;
    parameters.speedKmh = speedKmh;
    parameters.helmet = helmet;
    parameters.earPlugs = ride::EarPlugs::nominal;
    parameters.tyreTrimDb = dsp::silenceDb;
    parameters.engineTrimDb = dsp::silenceDb;
    return hearing::rideNoiseSpectrum(parameters);
}

ThirdOctaveSpectrum pinkNoiseAt(double speedKmh)
{
    return hearing::pinkSpectrum().raisedBy(50.0 + 20.0 * std::log10(speedKmh / 10.0));
}

} // namespace

TEST_CASE("In quiet everything of a loud programme remains", "[core][hearing]")
{
    AudibilityRequest request;
    request.programme = hearing::pinkSpectrum().raisedBy(85.0);
    const auto audibility = assessAudibility(request);
    CHECK(audibility.shareOfScale == 1.0);
    CHECK(audibility.loudness.share() == Approx(1.0));
    REQUIRE(audibility.overallGainDb);
    CHECK(*audibility.overallGainDb < -50.0);
    for (const auto& band : audibility.bands)
        CHECK(band.gainNeededDb == 0.0);
}

TEST_CASE("Each band stands above its threshold by the difference of the two", "[core][hearing]")
{
    const auto request = pinkInPink(70.0, 60.0);
    const auto audibility = assessAudibility(request);
    const auto threshold = hearing::maskedThreshold(request.noise);
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
        CHECK(audibility.bands[band].thresholdDb == threshold.levelsDb[band]);
        CHECK(audibility.bands[band].aboveDb == Approx(70.0 - threshold.levelsDb[band]));
    }
    // The noise's own level and 1 dB and less of spread: 9 dB and more remain.
    CHECK(audibility.bands[17].aboveDb > 9.0);
    CHECK(audibility.bands[17].aboveDb <= 10.0);
}

TEST_CASE("The overall gain reaches the goal, and a little less does not", "[core][hearing]")
{
    for (const double share : {0.5, 0.8, 1.0})
        for (const double marginDb : {-10.0, 0.0, 6.0}) {
            auto request = pinkInPink(60.0, 75.0);
            request.noise.levelsDb[5] += 15.0;
            request.goal = {share, marginDb};
            const auto before = assessAudibility(request);
            REQUIRE(before.overallGainDb);
            const double gain = *before.overallGainDb;
            CAPTURE(share, marginDb, gain);
            // What the programme is made of is counted at the present volume, so a gain acts like a
            // smaller margin.
            CHECK(audibleShare(request.programme, request.noise, 0.0, marginDb - gain) >= share);
            CHECK(audibleShare(request.programme, request.noise, 0.0, marginDb - gain + 0.5)
                  < share);
        }
}

TEST_CASE("Gains band by band lift the cheapest bands to the margin and no others",
          "[core][hearing]")
{
    auto request = pinkInPink(60.0, 62.0);
    for (const std::size_t band : {20U, 21U, 22U})
        request.noise.levelsDb[band] = 90.0;
    request.goal = {0.8, 3.0};
    const auto before = assessAudibility(request);
    auto lifted = request;
    double widest = 0.0;
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
        lifted.programme.levelsDb[band] += before.bands[band].gainNeededDb;
        widest = std::max(widest, before.bands[band].gainNeededDb);
    }
    // The three drowned bands and those they mask are dear, and the goal can do without some.
    CHECK(before.bands[21].gainNeededDb == 0.0);
    CHECK(before.bands[17].gainNeededDb > 3.0);
    CHECK(widest < 33.0); // what the lowest of the three would need
    const auto after = assessAudibility(lifted);
    double met = 0.0;
    double whole = 0.0;
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
        if (!before.bands[band].inProgramme)
            continue;
        const auto limits = hearing::thirdOctave(band);
        const double cams = hearing::erbNumber(limits.upperHz) - hearing::erbNumber(limits.lowerHz);
        whole += cams;
        if (after.bands[band].aboveDb >= 3.0 - 1e-9)
            met += cams;
    }
    CHECK(met >= 0.8 * whole);
}

TEST_CASE("What is not heard in quiet does not count as drowned", "[core][hearing]")
{
    AudibilityRequest request;
    request.programme.levelsDb[17] = 40.0;
    request.programme.levelsDb[0] = 40.0; // far below the threshold at 20 Hz
    const auto audibility = assessAudibility(request);
    CHECK(audibility.bands[17].inProgramme);
    CHECK_FALSE(audibility.bands[0].inProgramme);
    CHECK(audibility.shareOfScale == 1.0);

    const auto nothing = assessAudibility(AudibilityRequest {});
    CHECK(nothing.shareOfScale == 0.0);
    CHECK_FALSE(nothing.overallGainDb);
}

TEST_CASE("The drowning speed is where the share crosses the goal", "[core][hearing]")
{
    const auto programme = hearing::pinkSpectrum().raisedBy(65.0);
    const hearing::AudibilityGoal goal {0.8, 0.0};
    const auto speed = drowningSpeedKmh(programme, pinkNoiseAt, 0.0, goal);
    REQUIRE(speed);
    CHECK(audibleShare(programme, pinkNoiseAt(*speed - 0.2), 0.0, 0.0) >= 0.8);
    CHECK(audibleShare(programme, pinkNoiseAt(*speed + 0.2), 0.0, 0.0) < 0.8);
    // Pink in pink drowns where the noise comes within the spread, 1 dB or less, of the programme:
    // 65 = 50 + 20 lg(v / 10).
    CHECK(*speed == Approx(10.0 * std::pow(10.0, 15.0 / 20.0)).epsilon(0.15));

    CHECK_FALSE(drowningSpeedKmh(programme.raisedBy(60.0), pinkNoiseAt, 0.0, goal));
    CHECK(*drowningSpeedKmh(programme.raisedBy(-40.0), pinkNoiseAt, 0.0, goal) == 0.0);
}

TEST_CASE("Wind drowns a programme sooner without a helmet", "[core][hearing]")
{
    const auto programme = hearing::pinkSpectrum().scaledToDba(90.0);
    const auto speedWith = [&](ride::Helmet helmet) {
        return *drowningSpeedKmh(
            programme, [helmet](double speedKmh) { return windAt(speedKmh, helmet); }, 0.0, {});
    };
    CHECK(speedWith(ride::Helmet::none) < speedWith(ride::Helmet::fullFace));
}

TEST_CASE("Wind in third octaves has its own level and octaves, plugs left out", "[core][hearing]")
{
    for (const ride::Helmet helmet : ride::allHelmets)
        for (const double speedKmh : {40.0, 100.0, 160.0}) {
            const auto wind = windAt(speedKmh, helmet);
            const double levelDba = ride::WindModel {}.levelDba(speedKmh, helmet);
            // Weighted at band centres here, at every frequency in the model.
            CHECK(wind.totalDb(dsp::Weighting::a) == Approx(levelDba).margin(0.1));
            if (speedKmh != 100.0)
                continue;
            // The table's octaves are a factor of two wide, three third octaves a little less: 0.25
            // dB where the slope changes. The octave table holds at 100 km/h; weighted at every
            // frequency instead of at octave centres the same shape stands up to 0.4 dB higher or
            // lower as a whole.
            const auto octaves = ride::windOctaveLevelsDb(helmet);
            const auto offset = [&](std::size_t octave) {
                double power = 0.0;
                for (std::size_t band = 1 + 3 * octave; band < 4 + 3 * octave; ++band)
                    power += dsp::dbToPower(wind.levelsDb[band]);
                return dsp::powerToDb(power) - levelDba - octaves[octave];
            };
            for (std::size_t octave = 0; octave < octaves.size(); ++octave) {
                CAPTURE(octave, ride::helmetName(helmet));
                CHECK(offset(octave) == Approx(offset(4)).margin(0.25));
                CHECK(std::abs(offset(octave)) < 0.5);
            }
        }
    CHECK(windAt(0.0, ride::Helmet::fullFace) == ThirdOctaveSpectrum {});
}

TEST_CASE("Power follows level, sensitivity and distance", "[core][hearing]")
{
    CHECK(hearing::powerRatio(3.0) == Approx(1.9953).epsilon(1e-4));
    CHECK(hearing::powerRatio(10.0) == Approx(10.0));
    // By definition: the sensitivity at 1 m takes 1 W; 6 dB more at twice the distance 16 W.
    CHECK(hearing::SpeakerPower {90.0, 1.0, 1.0}.wattsEach(90.0) == Approx(1.0));
    CHECK(hearing::SpeakerPower {90.0, 2.0, 1.0}.wattsEach(96.0) == Approx(15.92).epsilon(1e-3));
    CHECK(hearing::SpeakerPower {90.0, 1.0, 2.0}.wattsEach(93.0) == Approx(0.9976).epsilon(1e-3));

    // Two bands of equal power, one of them 10 dB up: (10 + 1) / 2.
    ThirdOctaveSpectrum played;
    played.levelsDb[10] = -20.0;
    played.levelsDb[20] = -20.0;
    std::array<double, hearing::numThirdOctaves> gains {};
    gains[20] = 10.0;
    CHECK(hearing::powerRatio(played, gains) == Approx(5.5));
    gains.fill(6.0);
    CHECK(hearing::powerRatio(played, gains) == Approx(hearing::powerRatio(6.0)));
    CHECK(hearing::powerRatio(ThirdOctaveSpectrum {}, gains) == 1.0);
}

TEST_CASE("Every figure of the hearing models has a value, a status and a source",
          "[core][hearing]")
{
    std::set<std::string> names;
    for (const auto& figure : hearing::hearingFigures()) {
        CHECK_FALSE(figure.name.empty());
        CHECK_FALSE(figure.value.empty());
        CHECK_FALSE(figure.source.empty());
        CHECK(names.insert(figure.name).second);
        CHECK_FALSE(figureStatusName(figure.status).empty());
    }
    CHECK(names.size() > 10);
}
