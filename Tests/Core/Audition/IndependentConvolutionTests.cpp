// Holds the partitioned convolution against zita-convolver, a library of other authorship.
#include "Core/Audition/AuditionEngine.h"

#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>
#include <zita-convolver.h>

#include <sched.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <thread>
#include <vector>

using namespace saddletone;

namespace {

constexpr std::uint32_t quantum = 64;

std::vector<float> convolveByLibrary(const std::vector<float>& samples, std::vector<float> taps)
{
    Convproc convolver;
    const auto length = static_cast<std::uint32_t>(taps.size());
    REQUIRE(convolver.configure(1, 1, length, quantum, quantum, Convproc::MAXPART, 0.0F) == 0);
    REQUIRE(convolver.impdata_create(0, 0, 1, taps.data(), 0, static_cast<std::int32_t>(length))
            == 0);
    REQUIRE(convolver.start_process(0, SCHED_OTHER) == 0);
    // Its threads take a moment to be ready, longer on a busy machine; a block given before that is
    // lost.
    std::this_thread::sleep_for(std::chrono::milliseconds(250));

    std::vector<float> output(samples.size());
    for (std::size_t begin = 0; begin + quantum <= samples.size(); begin += quantum) {
        std::copy_n(samples.data() + begin, quantum, convolver.inpdata(0));
        REQUIRE(convolver.process(true) == 0);
        std::copy_n(convolver.outdata(0), quantum, output.data() + begin);
    }
    convolver.stop_process();
    while (!convolver.check_stop())
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    convolver.cleanup();
    return output;
}

} // namespace

TEST_CASE("The engine convolves as an independent library does", "[core][audition]")
{
    const std::size_t numTaps = GENERATE(64U, 65U, 512U, 4097U, 30000U);
    CAPTURE(numTaps);
    const auto taps = test::decayingNoise(numTaps, 21);
    const auto programme = test::gaussianNoise((numTaps + 9000) / quantum * quantum, 0.05, 22);
    const auto expected = convolveByLibrary(programme, taps);

    audition::AuditionEngine engine(test::promptSettings());
    const auto parameters = test::programmeAlone();
    engine.setParameters(parameters);
    engine.prepare({});
    auto scene = test::sceneOf(engine.layout(), std::array {taps});
    const double gain =
        dsp::dbToAmplitude(levelsOf(*scene, scene->candidates.front(), parameters).programmeGainDb);
    engine.publish(std::move(scene));
    engine.reset();
    const auto output =
        test::runEngine(engine, {programme, programme}, std::array<std::size_t, 3> {512, 7, 100});

    std::vector<double> scaled(expected.size());
    std::ranges::transform(expected, scaled.begin(),
                           [gain](float sample) { return gain * static_cast<double>(sample); });
    // Both work in single precision, whose rounding lies near -140 dB in each.
    const double errorDb = test::relativeErrorDb(output[0], scaled);
    CAPTURE(errorDb);
    CHECK(errorDb < -110.0);
}
