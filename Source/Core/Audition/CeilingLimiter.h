#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"

namespace saddletone::audition {

/** The last stage before the headphones: no sample leaves it above the ceiling, none is NaN or Inf.

    Without look-ahead, so without latency: gain falls within the sample that would pass the
    ceiling, alike in all channels, and recovers exponentially. Works in place. */
class CeilingLimiter {
public:
    struct Parameters {
        double ceilingDbfs = -6.0; ///< Sample peak, -60 to 0.
        double releaseMs = 80.0;   ///< Time constant, 1 to 2000.

        bool operator==(const Parameters&) const = default;
    };

    // Setup (may allocate, not during process)
    void prepare(const dsp::ProcessSpec& spec) noexcept;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept { gain = 1.0; }
    void setParameters(const Parameters& newParameters) noexcept;
    void process(dsp::ChannelView<float> block) noexcept;

    /** Gain at the end of the last block, 0..1; 1 = not limiting. */
    [[nodiscard]] double currentGain() const noexcept { return gain; }

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

private:
    void update() noexcept;

    Parameters parameters;
    double sampleRate = 48000.0;
    float ceiling = 0.5F;
    double recovery = 0.0;
    double gain = 1.0;
};

} // namespace saddletone::audition
