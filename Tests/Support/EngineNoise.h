#pragma once

#include "Support/SimulatedBike.h"

#include <cstdint>
#include <vector>

namespace saddletone::test {

/** How loud an engine is against a sweep of the given amplitude played over the simulated bike. */
struct EngineNoise {
    double sampleRate = 48000.0;
    double sweepAmplitude = 0.25;
    double belowSweepDb = 20.0; ///< In each third octave, re the sweep while it passes there.
    double firingHz = 14.0;     ///< Fundamental of the harmonics; idle of a large twin.
    std::uint64_t seed = 1;
};

/** Noise of an engine: harmonics of a firing frequency that wanders by a few per cent, random phases,
    and as much Gaussian noise; then scaled so that every third octave from 20 Hz up holds exactly
    the power stated. */
[[nodiscard]] std::vector<double> makeEngineNoise(const EngineNoise& noise, std::size_t numFrames);

} // namespace saddletone::test
