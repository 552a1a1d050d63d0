#include "Core/Audition/ReferenceProgramme.h"

#include "Core/Dsp/Biquad.h"
#include "Support/AuditionFixtures.h"
#include "Support/ProgrammeMeasures.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <vector>

using namespace saddletone;

namespace {

constexpr std::size_t periodFrames = std::size_t {1} << 18U;

/** The steady state of the reference programme after taps. */
std::vector<float> rendered(const std::vector<float>& taps, double sampleRate)
{
    const auto programme = test::referencePinkNoise(sampleRate, periodFrames, 2);
    const auto all = test::directConvolution(programme.channels[0], taps);
    return {all.begin() + periodFrames, all.end()};
}

std::vector<std::vector<float>> manyResponses(double sampleRate)
{
    std::vector<double> dull(600, 0.0);
    dull[0] = 0.5;
    dsp::filterInPlace(dsp::designLowPass(900.0, 0.7071, sampleRate), dull);
    std::vector<double> sharp(600, 0.0);
    sharp[3] = 2.0;
    dsp::filterInPlace(dsp::designHighPass(3000.0, 0.7071, sampleRate), sharp);
    return {{1.0F},
            {0.0F, 0.0F, 0.1F},
            {dull.begin(), dull.end()},
            {sharp.begin(), sharp.end()},
            test::decayingNoise(500, 1)};
}

} // namespace

TEST_CASE("The A-weighted level of the reference programme is that of rendered pink noise",
          "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    for (const auto& taps : manyResponses(sampleRate)) {
        CAPTURE(sampleRate, taps.size());
        // The two spectra differ in their bins only.
        CHECK(audition::referenceLevelDbfsA(taps, sampleRate)
              == Approx(test::levelDbfsA(rendered(taps, sampleRate), sampleRate)).margin(0.02));
    }
}

TEST_CASE("The loudness of the reference programme is what libebur128 reads of rendered pink noise",
          "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    for (const auto& taps : manyResponses(sampleRate)) {
        CAPTURE(sampleRate, taps.size());
        const auto audio = rendered(taps, sampleRate);
        // 0.1 LU is the tolerance of EBU Tech 3341 for meters.
        CHECK(audition::referenceLoudnessLufs(taps, sampleRate)
              == Approx(test::loudnessLufs(audio, audio, sampleRate)).margin(0.1));
    }
}

TEST_CASE("Silent taps give the floor, and gain adds in decibels", "[core][audition]")
{
    CHECK(audition::referenceLevelDbfsA(std::vector<float> {0.0F}, 48000.0) <= -380.0);
    const double one = audition::referenceLevelDbfsA(std::vector<float> {1.0F}, 48000.0);
    const double tenth = audition::referenceLevelDbfsA(std::vector<float> {0.1F}, 48000.0);
    CHECK(one - tenth == Approx(20.0).margin(1e-5));
    const double loud = audition::referenceLoudnessLufs(std::vector<float> {1.0F}, 48000.0);
    const double soft = audition::referenceLoudnessLufs(std::vector<float> {0.1F}, 48000.0);
    CHECK(loud - soft == Approx(20.0).margin(1e-5));
}
