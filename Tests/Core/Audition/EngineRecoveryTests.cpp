// What a host may hand over that is no audio, and what the engine is like in the next block.
#include "Core/Audition/AuditionEngine.h"

#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Hearing/TruePeak.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using test::Stereo;

namespace {

constexpr std::array<std::size_t, 1> blocks {256};

struct Riding {
    AuditionEngine engine {test::promptSettings()};

    explicit Riding(const AuditionEngine::Parameters& parameters)
    {
        engine.setParameters(parameters);
        engine.prepare({});
        engine.publish(test::sceneOf(engine.layout(), std::array {test::decayingNoise(9000, 1)}));
        engine.reset();
    }
};

AuditionEngine::Parameters riding()
{
    AuditionEngine::Parameters parameters;
    parameters.ride.speedKmh = 100.0;
    parameters.headphoneSplAtFullScaleDb = 110.0;
    return parameters;
}

} // namespace

TEST_CASE("What is no audio becomes silence, and the next block is as if silence had been",
          "[core][audition]")
{
    const float bad = GENERATE(
        std::numeric_limits<float>::quiet_NaN(), -std::numeric_limits<float>::signaling_NaN(),
        std::numeric_limits<float>::infinity(), -std::numeric_limits<float>::infinity(), 1e30F,
        -1e30F, std::numeric_limits<float>::max());
    CAPTURE(bad);
    const dsp::ScopedFlushDenormals flushDenormals;
    Stereo programme {test::gaussianNoise(48000, 0.1, 2), test::gaussianNoise(48000, 0.1, 3)};
    Stereo silenced = programme;
    for (std::size_t frame = 5120; frame < 5120 + 256; ++frame)
        for (std::size_t ear = 0; ear < 2; ++ear) {
            programme[ear][frame] = bad;
            silenced[ear][frame] = 0.0F;
        }
    Riding disturbed(riding());
    Riding undisturbed(riding());
    const Stereo output = test::runEngine(disturbed.engine, programme, blocks);
    const Stereo expected = test::runEngine(undisturbed.engine, silenced, blocks);
    const bool same = output == expected;
    CHECK(same);
    CHECK(std::isfinite(disturbed.engine.earLevelDba()));
}

TEST_CASE("A level that a host sets to no number stays as it was", "[core][audition]")
{
    using Parameters = AuditionEngine::Parameters;
    double Parameters::*const level =
        GENERATE(as<double Parameters::*> {}, &Parameters::volumeDb, &Parameters::noiseTrimDb,
                 &Parameters::outputLevelDb);
    const dsp::ScopedFlushDenormals flushDenormals;
    const Stereo programme {test::gaussianNoise(48000, 0.1, 2), test::gaussianNoise(48000, 0.1, 3)};
    auto parameters = riding();
    Riding disturbed(parameters);
    Riding undisturbed(parameters);
    for (const bool isNumber : {true, false, true}) {
        parameters.*level = isNumber ? -3.0 : -std::numeric_limits<double>::quiet_NaN();
        disturbed.engine.setParameters(parameters);
        parameters.*level = -3.0;
        undisturbed.engine.setParameters(parameters);
        const Stereo output = test::runEngine(disturbed.engine, programme, blocks);
        const Stereo expected = test::runEngine(undisturbed.engine, programme, blocks);
        const bool same = output == expected;
        CHECK(same);
        CHECK(std::ranges::any_of(output[0], [](float sample) { return sample != 0.0F; }));
    }
}

TEST_CASE("Denormals from a host change nothing that can be heard", "[core][audition]")
{
    const float tiny = GENERATE(std::numeric_limits<float>::denorm_min(),
                                std::numeric_limits<float>::min(), 1e-40F);
    const dsp::ScopedFlushDenormals flushDenormals;
    auto parameters = riding();
    parameters.ride.speedKmh = 0.0;
    Riding disturbed(parameters);
    const Stereo programme {std::vector<float>(48000, tiny), std::vector<float>(48000, -tiny)};
    const Stereo output = test::runEngine(disturbed.engine, programme, blocks);
    for (const auto& ear : output)
        CHECK(std::ranges::all_of(ear, [](float sample) { return std::abs(sample) < 1e-30F; }));
}

TEST_CASE("The engine's output keeps its true peak below the ceiling", "[core][audition]")
{
    auto parameters = riding();
    parameters.outputLevelDb = 0.0;
    parameters.ceilingDbfs = -20.0;
    parameters.headphoneSplAtFullScaleDb = 0.0;
    Riding loud(parameters);
    const Stereo programme {test::gaussianNoise(96000, 3.0, 4), test::gaussianNoise(96000, 3.0, 5)};
    const Stereo output = test::runEngine(loud.engine, programme, blocks);
    const double peakDbtp = hearing::truePeakDbtp({48000.0, {output[0], output[1]}});
    CHECK(peakDbtp <= -20.0 + 1e-4);
    CHECK(peakDbtp > -20.1);
}

TEST_CASE("The engine keeps a known headphone at the level of its ceiling", "[core][audition]")
{
    auto parameters = riding();
    parameters.outputLevelDb = 0.0;
    parameters.headphoneSplAtFullScaleDb = 120.0; // -24 dBFS(A) would be 96 dB(A)
    parameters.ceilingDba = 80.0;
    Riding loud(parameters);
    const Stereo programme {test::gaussianNoise(480000, 0.1, 6),
                            test::gaussianNoise(480000, 0.1, 7)};
    static_cast<void>(test::runEngine(loud.engine, programme, blocks));
    CHECK(loud.engine.earLevelDba() <= 80.1F);
    CHECK(loud.engine.earLevelDba() > 78.0F);
    CHECK(loud.engine.guardGain() < 1.0F);
    loud.engine.reset();
    CHECK(loud.engine.guardGain() == 1.0F);
}
