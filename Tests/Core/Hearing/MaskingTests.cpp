#include "Core/Hearing/Masking.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <cstddef>

using namespace saddletone;
using hearing::maskedThreshold;
using hearing::ThirdOctaveSpectrum;

TEST_CASE("Without noise the masked threshold is the hearing threshold", "[core][hearing]")
{
    CHECK(maskedThreshold(ThirdOctaveSpectrum {}) == hearing::hearingThreshold());
    const auto plugged = maskedThreshold(ThirdOctaveSpectrum {}, 20.0);
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band)
        CHECK(plugged.levelsDb[band] == Approx(hearing::hearingThreshold().levelsDb[band] + 20.0));
}

TEST_CASE("Masking spreads upwards from a single band as ANSI S3.5-1997 words it",
          "[core][hearing]")
{
    // A band of 90 dB at 1 kHz, worked by hand from the standard: the slope is
    // -80 + 0.6 (B + 10 lg 1000 - 6.353) dB per octave with B = 90 - 10 lg 230.77 dB per Hz, the
    // distance to the band n above is 3.32 lg(0.89 10^(n/10)) octaves.
    ThirdOctaveSpectrum noise;
    noise.levelsDb[17] = 90.0;
    const double spectrumDb = 90.0 - 10.0 * std::log10(1122.018 - 891.251);
    const double slope = -80.0 + 0.6 * (spectrumDb + 30.0 - 6.353);
    const auto threshold = maskedThreshold(noise);
    CHECK(threshold.levelsDb[17] == Approx(90.0).margin(1e-3));
    for (const std::size_t above : {1U, 2U, 3U}) {
        const double octaves = 3.32 * (std::log10(0.89) + 0.1 * static_cast<double>(above));
        // Carried into a wider band by the ratio of widths, 1 dB a third octave.
        CHECK(threshold.levelsDb[17 + above]
              == Approx(90.0 + slope * octaves + static_cast<double>(above)).margin(0.01));
    }
    // Nothing spreads downwards.
    CHECK(threshold.levelsDb[16] == hearing::hearingThreshold().levelsDb[16]);
}

TEST_CASE("Louder noise masks more, and a louder masker spreads further", "[core][hearing]")
{
    ThirdOctaveSpectrum noise;
    noise.levelsDb[7] = 70.0; // 100 Hz
    const auto low = maskedThreshold(noise);
    noise.levelsDb[7] = 110.0;
    const auto high = maskedThreshold(noise);
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band)
        CHECK(high.levelsDb[band] >= low.levelsDb[band]);
    // At 1 kHz 70 dB of rumble do nothing, 110 dB mask.
    CHECK(low.levelsDb[17] == hearing::hearingThreshold().levelsDb[17]);
    CHECK(high.levelsDb[17] > hearing::hearingThreshold().levelsDb[17] + 20.0);
}

TEST_CASE("Masking stays finite and never rises with distance at any level", "[core][hearing]")
{
    ThirdOctaveSpectrum noise;
    noise.levelsDb[0] = 160.0;
    const auto threshold = maskedThreshold(noise);
    for (std::size_t band = 1; band < hearing::numThirdOctaves; ++band) {
        CHECK(std::isfinite(threshold.levelsDb[band]));
        // In density: a band is a tenth of a decade wider than the one below.
        CHECK(threshold.levelsDb[band] - threshold.levelsDb[band - 1] <= 1.0 + 1e-9);
    }
}

TEST_CASE("Ear plugs leave the ratio of music to noise alone until quiet sets the limit",
          "[core][hearing]")
{
    const auto noise = hearing::pinkSpectrum().raisedBy(85.0);
    const auto bare = maskedThreshold(noise);
    const auto plugged = maskedThreshold(noise, 25.0);
    for (std::size_t band = 4; band < 29; ++band) {
        CAPTURE(band);
        // A lower level spreads less, so plugs help a little; they never cost anything here.
        CHECK(plugged.levelsDb[band] <= bare.levelsDb[band] + 1e-9);
        CHECK(plugged.levelsDb[band] >= noise.levelsDb[band] - 1e-9);
    }
}
