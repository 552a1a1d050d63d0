#include "Core/Dsp/Units.h"
#include "Core/Tuning/AmplifierPower.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using namespace saddletone::tuning;

TEST_CASE("Watts follow level, sensitivity, distance and number of speakers", "[core][tuning]")
{
    // 90 dB for 1 W at 1 m: 100 dB takes 10 W, at 2 m four times that, with two speakers half.
    CHECK(wattsForSpl(90.0, 90.0, 1.0, 1) == Approx(1.0));
    CHECK(wattsForSpl(100.0, 90.0, 1.0, 1) == Approx(10.0));
    CHECK(wattsForSpl(100.0, 90.0, 2.0, 1) == Approx(40.0));
    CHECK(wattsForSpl(100.0, 90.0, 1.0, 2) == Approx(5.0));
}

TEST_CASE("An amplifier clips where a sine of its power peaks", "[core][tuning]")
{
    const Amplifier amplifier {25.0, 4.0}; // 10 V RMS
    CHECK(amplifier.peakVolts() == Approx(14.1421).margin(1e-3));
    CHECK(clipMarginDb(amplifier, 10.0, 3.0103) == Approx(0.0).margin(1e-4)); // a sine
    // 12 dB of crest leave an eighth of the power: 25 W sine carry 3.15 W of pink noise.
    CHECK(clipMarginDb(amplifier, std::sqrt(2.0 * 25.0 * dsp::dbToPower(-12.0) * 4.0), 12.0)
          == Approx(0.0).margin(1e-9));
    CHECK(clipMarginDb(amplifier, 1.0, 12.0) - clipMarginDb(amplifier, 2.0, 12.0)
          == Approx(6.0206).margin(1e-3));
    CHECK(clipMarginDb(amplifier, 1.0, loudMusicCrestFactorDb)
          > clipMarginDb(amplifier, 1.0, pinkCrestFactorDb));
}
