#pragma once

#include "Plugin/Bench.h"
#include "Support/SimulatedDevice.h"
#include "Support/TemporaryFolder.h"

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace saddletone::test {

inline constexpr double benchSampleRate = 48000.0;

/** A first-order low-pass with a gain, and noise: H = g (1 - a) / (1 - a z^-1). */
struct SimulatedRoom {
    double gain = 1.0;
    double cornerHz = 2000.0;
    double noiseRms = 1e-5;

    [[nodiscard]] double pole() const;
    [[nodiscard]] double levelDb(double frequencyHz) const;
    [[nodiscard]] Room make(std::uint64_t seed) const;
};

/** The bench on a simulated device, as the standalone has it. */
struct BenchRig {
    BenchRig();
    ~BenchRig();

    [[nodiscard]] SimulatedDevice& device() const;
    /** Waits for the bench's threads without running the device. */
    void settle() const;
    /** Opens the input that the room is heard on. */
    void openInput() const;
    /** Records the sweep played by this computer through a room; profile "Touring". */
    void recordSweep(const SimulatedRoom& room, measure::EngineState engine,
                     const juce::String& place, std::uint64_t seed,
                     measure::SpeakerGroup speakers = measure::SpeakerGroup::all) const;
    /** The same up to the moment when the measurement has begun. */
    void recordUnmeasured(const SimulatedRoom& room, measure::EngineState engine,
                          const juce::String& place, std::uint64_t seed,
                          measure::SpeakerGroup speakers = measure::SpeakerGroup::all) const;

    TemporaryFolder folder;
    juce::AudioDeviceManager devices;
    juce::File openJob;
    int numPauses = 0;
    std::vector<std::string> addedStates; ///< By id, in any job.
    std::unique_ptr<plugin::Bench> bench;
};

} // namespace saddletone::test
