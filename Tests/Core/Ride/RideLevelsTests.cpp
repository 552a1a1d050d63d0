#include "Core/Ride/RideLevels.h"

#include "Core/Ride/RideSpectrum.h"
#include "Support/AllocationCounter.h"
#include "Support/RecordedNoiseFixture.h"

#include <catch2/catch.hpp>

#include <cmath>

using namespace saddletone;

namespace {

void checkSame(double levelDba, double expectedDba)
{
    if (expectedDba > dsp::silenceDb)
        CHECK(levelDba == Approx(expectedDba).margin(0.1));
    else
        CHECK(levelDba == dsp::silenceDb);
}

} // namespace

TEST_CASE("The levels of a ride are those of its spectrum", "[core][ride]")
{
    ride::RideParameters parameters;
    parameters.speedKmh = GENERATE(0.0, 30.0, 100.0, 200.0);
    parameters.helmet =
        GENERATE(ride::Helmet::none, ride::Helmet::openFace, ride::Helmet::fullFace);
    parameters.screen = GENERATE(ride::Screen::none, ride::Screen::low, ride::Screen::tall);
    parameters.earPlugs = GENERATE(ride::EarPlugs::none, ride::EarPlugs::cautious);
    const bool isPlain = GENERATE(true, false);
    if (!isPlain) {
        parameters.engine.firing = ride::firingPatternOf(ride::EnginePreset::flatSix);
        parameters.tyre.treadToneIsOn = true;
        parameters.engineState = ride::EngineState::off;
    }
    const ride::RideSpectrum spectrum = ride::rideSpectrum(parameters);
    const test::AllocationCounter allocations;
    const ride::RideLevels levels = ride::rideLevels(parameters);
    CHECK(allocations.numHeapCalls() == 0);
    CAPTURE(parameters.speedKmh, ride::helmetName(parameters.helmet), isPlain);
    checkSame(levels.windDba, spectrum.windDba);
    checkSame(levels.tyreDba, spectrum.tyreDba);
    checkSame(levels.engineDba, spectrum.engineDba);
    checkSame(levels.totalDba, spectrum.totalDba);
}

TEST_CASE("The A-weighted level of recorded noise counts its bands and tones", "[core][ride]")
{
    // A tone alone at 1 kHz, where A-weighting is 0 dB (IEC 61672-1).
    ride::NoiseState state;
    for (auto& ear : state.noiseDbfs)
        ear.fill(dsp::silenceDb);
    state.numTones = 1;
    state.tones[0] = {1000.0, {-20.0, -20.0}, 0.0, 0.0, 1.0, 0.0};
    CHECK(ride::levelDbfsA(state) == Approx(-20.0).margin(0.01));
    // The one ear alone has half of the power of both.
    state.tones[0].levelsDbfs[1] = dsp::silenceDb;
    CHECK(ride::levelDbfsA(state) == Approx(-20.0 - 10.0 * std::log10(2.0)).margin(0.01));
    // A twelfth octave of noise about 100 Hz: -19.1 dB by the table of IEC 61672-1.
    state.numTones = 0;
    std::size_t band = 0;
    while (ride::noiseBandEdgeHz(band + 1) <= 100.0)
        ++band;
    for (auto& ear : state.noiseDbfs)
        ear[band] = -10.0;
    CHECK(ride::levelDbfsA(state) == Approx(-29.1).margin(0.5));
}
