#include "Support/RecordedNoiseFixture.h"

#include <catch2/catch.hpp>

namespace saddletone::test {

ride::RecordedNoise recordedNoise()
{
    ride::NoiseRecording slow;
    slow.state.speedKmh = 80.0;
    for (std::size_t band = 0; band < ride::numNoiseBands; ++band) {
        for (auto& ear : slow.state.noiseDbfs)
            ear[band] = -30.0 - 0.5 * static_cast<double>(band);
        slow.state.coherence[band] = band < 40 ? 0.9 : 0.1;
    }
    slow.state.fluctuation.variancesDb2[6] = 4.0;
    slow.state.fluctuation.variancesDb2[9] = 2.0;
    slow.state.fluctuation.skewness = 0.4;
    slow.state.fluctuation.earCorrelation = 0.8;
    slow.state.numTones = 2;
    slow.state.tones[0] = {90.0, {-35.0, -36.0}, 0.3, 1.0, 1.0, 0.01};
    slow.state.tones[1] = {2000.0, {-45.0, -45.0}, 0.0, 2.0, 0.5, 0.0};
    ride::NoiseRecording fast = slow;
    fast.state.speedKmh = 120.0;
    for (auto& ear : fast.state.noiseDbfs)
        for (double& levelDbfs : ear)
            levelDbfs += 8.0;
    fast.state.tones[0].frequencyHz = 135.0;
    auto noise = ride::makeRecordedNoise({slow, fast});
    REQUIRE(noise);
    return *noise;
}

} // namespace saddletone::test
