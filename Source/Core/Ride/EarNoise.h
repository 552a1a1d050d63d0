#pragma once

#include "Core/Dsp/Fft.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace saddletone::ride {

/** Shaped noise for two ears in half-overlapping segments, each from its own seed, so that any
    position can be reached at once. Segment k covers hops k - 1 and k, and is faded in over the
    first and out over the second by sine windows, whose squares add up to one. */
class EarNoise {
public:
    static constexpr std::size_t numEars = 2;

    /** How much of a bin the right ear shares with the left; beyond the end, nothing. */
    struct Coherence {
        std::vector<float> shared; ///< Amplitude taken over from the left ear, -1 to 1.
        std::vector<float> own;    ///< Amplitude of its own: sqrt(1 - shared^2).
        std::size_t numBins = 0;
    };

    // Setup (may allocate, not during process)
    explicit EarNoise(std::uint64_t noiseSeed) noexcept : seed(noiseSeed) {}
    void prepare(double sampleRate);

    /** Frames of a hop at a sample rate: a power of two, 80 ms or more. */
    [[nodiscard]] static std::size_t hopFramesAt(double sampleRate) noexcept;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    [[nodiscard]] std::size_t hopFrames() const noexcept { return hop; }
    [[nodiscard]] std::size_t numBins() const noexcept { return hop + 1; }

    /** Spectrum value that gives a bin a mean square. */
    [[nodiscard]] float amplitudeOf(double meanSquare) const noexcept;

    /** Makes segment index in the place of the older one. amplitudes: numBins() values of
        amplitudeOf(), the first and the last count as 0; gain: on all of them, 0 makes silence. */
    void makeSegment(std::uint64_t index, std::span<const float> amplitudes, double gain,
                     const Coherence* coherence) noexcept;

    /** The parts of the newer and of the older segment that add up to the present hop. */
    [[nodiscard]] const float* rising(std::size_t ear) const noexcept
    {
        return segments[newestSlot].ears[ear].data();
    }
    [[nodiscard]] const float* falling(std::size_t ear) const noexcept
    {
        return segments[1 - newestSlot].ears[ear].data() + hop;
    }
    [[nodiscard]] bool isSilent() const noexcept
    {
        return segments[0].isSilent && segments[1].isSilent;
    }

private:
    struct Segment {
        std::array<std::vector<float>, numEars> ears;
        bool isSilent = true;
    };

    std::uint64_t seed;
    std::size_t hop = 0;
    std::size_t newestSlot = 0;
    std::vector<dsp::RealFft<float>> fft; // one; a vector because it is made in prepare()
    std::vector<float> window;
    std::array<Segment, 2> segments;
};

} // namespace saddletone::ride
