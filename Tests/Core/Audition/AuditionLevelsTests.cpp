#include "Core/Audition/AuditionLevels.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace saddletone;
using audition::AuditionLevels;
using audition::computeLevels;
using audition::LevelMatch;
using audition::LevelRequest;

namespace {

double sumDb(double one, double other)
{
    return 10.0 * std::log10(std::pow(10.0, one / 10.0) + std::pow(10.0, other / 10.0));
}

/** The wind of a full-face helmet alone. */
ride::RideLevels windAt(double speedKmh)
{
    ride::RideLevels noise;
    noise.windDba = ride::WindModel {}.levelDba(speedKmh, ride::Helmet::fullFace);
    noise.totalDba = noise.windDba;
    return noise;
}

/** Gain of the noise from its level on the road to the output. */
double noiseGainDb(const AuditionLevels& levels)
{
    return levels.noise.totalDba + levels.scaleDb;
}

} // namespace

TEST_CASE("Levels by hand at 64.4 km/h under a full-face helmet", "[core][audition]")
{
    LevelRequest request;
    request.reference = {.splDba = 92.0, .splAtFullScaleDb = 110.0};
    request.candidate = {.splDba = 95.0, .splAtFullScaleDb = 110.0};
    request.noise = windAt(64.4);
    request.outputLevelDb = -12.0;
    request.pinkDbfsA = -20.0;
    const AuditionLevels levels = computeLevels(request);
    // Binnington, McCombe and Harris, Br. J. Audiol. 27(6):415-422, 1993: 90 dB(A) at 40 mph.
    CHECK(levels.noise.windDba == Approx(90.0));
    CHECK(levels.noise.totalDba == Approx(90.0));
    CHECK(levels.programmeSplDba == Approx(95.0));
    // -24 dBFS(A) - 12 dB for 92 and 90 dB(A) together, which are 94.124 dB(A).
    CHECK(levels.scaleDb == Approx(-36.0 - 94.12443).margin(1e-4));
    CHECK(levels.programmeGainDb == Approx(110.0 - 130.12443).margin(1e-4));
    CHECK(levels.untouchedGainDb == Approx(-16.0));
    CHECK(levels.outputDbfsA == Approx(sumDb(95.0, 90.0) - 130.12443).margin(1e-4));
}

TEST_CASE("Music plus noise of the first candidate leaves at the listening target at any speed",
          "[core][audition]")
{
    for (double speedKmh = 0.0; speedKmh <= 250.0; speedKmh += 10.0)
        for (const double outputLevelDb : {-60.0, -12.0, 0.0}) {
            LevelRequest request;
            request.noise = windAt(speedKmh);
            request.outputLevelDb = outputLevelDb;
            const AuditionLevels levels = computeLevels(request);
            CHECK(levels.outputDbfsA == Approx(-24.0 + outputLevelDb));
            // The ratio of music to noise is the road's: one scale for both.
            CHECK(levels.programmeGainDb - request.candidate.splAtFullScaleDb
                  == Approx(levels.scaleDb));
        }
}

TEST_CASE("Parked there is no noise, whatever its trim", "[core][audition]")
{
    LevelRequest request;
    request.noiseTrimDb = 12.0;
    const AuditionLevels levels = computeLevels(request);
    CHECK(levels.noise == ride::RideLevels {});
}

TEST_CASE("The trim moves the noise against the music by its decibels", "[core][audition]")
{
    LevelRequest request;
    request.noise = windAt(100.0);
    const AuditionLevels plain = computeLevels(request);
    request.noiseTrimDb = -7.0;
    const AuditionLevels trimmed = computeLevels(request);
    CHECK((noiseGainDb(trimmed) - trimmed.programmeGainDb)
              - (noiseGainDb(plain) - plain.programmeGainDb)
          == Approx(-7.0));
    CHECK(trimmed.noise.windDba == Approx(plain.noise.windDba - 7.0));
    CHECK(trimmed.noise.tyreDba == dsp::silenceDb);
}

TEST_CASE("The matching gain acts only with equal loudness, and leaves the scale",
          "[core][audition]")
{
    LevelRequest request;
    request.noise = windAt(80.0);
    request.matchGainDb = 4.5;
    const AuditionLevels asIs = computeLevels(request);
    request.match = LevelMatch::equalLoudness;
    const AuditionLevels matched = computeLevels(request);
    CHECK(matched.programmeGainDb - asIs.programmeGainDb == Approx(4.5));
    CHECK(matched.programmeSplDba - asIs.programmeSplDba == Approx(4.5));
    CHECK(matched.noise == asIs.noise);
    CHECK(matched.scaleDb == asIs.scaleDb);
}
