#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Ride/EarNoise.h"
#include "Core/Ride/Helmet.h"

#include <array>
#include <cstdint>
#include <vector>

namespace saddletone::ride {

/** Endless wind noise for two ears, A-weighted level 0 dBFS (AES17) an ear, shaped by
    windPowerPerBin(); the caller scales it to the level it wants.

    Made of half-overlapping segments of shaped noise, each from its own seed, so any position can
    be reached at once and the samples do not depend on how the stream is cut. The ears are
    uncorrelated. A helmet change takes effect with the next segment (below 0.1 s). */
class WindNoise {
public:
    struct Parameters {
        Helmet helmet = Helmet::fullFace;

        bool operator==(const Parameters&) const = default;
    };

    static constexpr std::size_t numEars = EarNoise::numEars;

    // Setup (may allocate, not during process)
    explicit WindNoise(std::uint64_t noiseSeed) : noise(noiseSeed) {}
    void prepare(const dsp::ProcessSpec& spec);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept
    {
        position = 0;
        currentHop = noHop;
    }
    void setParameters(const Parameters& newParameters) noexcept { parameters = newParameters; }

    /** Writes the next frames; output has numEars channels. */
    void process(dsp::ChannelView<float> output) noexcept;

    /** Passes over frames without making them. */
    void skip(std::size_t numFrames) noexcept { position += numFrames; }

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

private:
    void makeSegment(std::uint64_t index) noexcept;
    void enterHop(std::uint64_t hop) noexcept;

    static constexpr std::uint64_t noHop = ~std::uint64_t {0};

    Parameters parameters;
    std::uint64_t position = 0;
    std::uint64_t currentHop = noHop;
    EarNoise noise;
    std::array<std::vector<float>, allHelmets.size()> amplitudes;
};

} // namespace saddletone::ride
