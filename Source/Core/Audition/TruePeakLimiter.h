#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"

#include <array>
#include <cstddef>

namespace saddletone::audition {

/** The last stage before the headphones: neither a sample nor what a converter makes between
    samples passes the ceiling, and none is NaN or Inf.

    Without look-ahead, so without latency. Between samples it follows the interpolation of a
    true-peak meter (ITU-R BS.1770-4 Annex 2: four times below 96 kHz, twice below 192 kHz, none
    above) as far as the samples known so far decide it, and gives each new sample no more than
    keeps every such sum, finished or not, under the ceiling. As silence may follow any sample, an
    unfinished sum counts like a finished one: of low frequencies the gain falls from 1 dB below
    the ceiling on. Gain is alike in all channels and recovers exponentially. Works in place. */
class TruePeakLimiter {
public:
    struct Parameters {
        double ceilingDbfs = -6.0; ///< True peak, -60 to 0.
        double releaseMs = 80.0;   ///< Time constant, 1 to 2000.

        bool operator==(const Parameters&) const = default;
    };

    static constexpr std::size_t maxChannels = 2;

    // Setup (may allocate, not during process)
    void prepare(const dsp::ProcessSpec& spec) noexcept;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept;
    void setParameters(const Parameters& newParameters) noexcept;
    /** One or two channels, as many as before since the last reset. */
    void process(dsp::ChannelView<float> block) noexcept;

    /** Gain at the end of the last block, 0..1; 1 = not limiting. */
    [[nodiscard]] double currentGain() const noexcept { return gain; }

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

private:
    static constexpr std::size_t maxSpan = 24;   // samples that one interpolated value hangs on
    static constexpr std::size_t maxPoints = 36; // values between samples that are not yet decided

    struct Channel {
        /** Sums decided so far, phase after phase, the newest value of a phase first. */
        std::array<double, maxPoints> partials {};
        std::array<float, maxSpan> recent {}; // outputs, a ring
    };

    void update() noexcept;
    void designInterpolation() noexcept;
    [[nodiscard]] bool passesUntouched(dsp::ChannelView<float> block) noexcept;
    void rebuildPartials() noexcept;
    void advance(Channel& channel, float output) noexcept;
    /** Largest magnitude that a sample would bring about, at its place or between samples. */
    [[nodiscard]] double reach(const Channel& channel, double sample) const noexcept;
    /** Largest share of a sample, 0..1, that keeps all sums within the ceiling. */
    [[nodiscard]] double shareAllowed(const Channel& channel, double sample) const noexcept;
    void processFrame(dsp::ChannelView<float> block, std::size_t frame) noexcept;

    Parameters parameters;
    double sampleRate = 48000.0;
    double ceiling = 0.5;
    double recovery = 0.0;
    double gain = 1.0;

    std::array<double, maxPoints> weights {}; // of a new sample in each undecided value
    std::size_t numPhases = 0;
    std::size_t span = maxSpan;
    double largestSum = 1.0; // of the magnitudes of one value's weights

    std::array<Channel, maxChannels> channels;
    std::size_t recentPosition = 0;
    bool partialsAreValid = true;
};

} // namespace saddletone::audition
