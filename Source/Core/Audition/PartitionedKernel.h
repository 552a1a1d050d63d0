#pragma once

#include "Core/Audition/PartitionLayout.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::audition {

/** One impulse response, cut and transformed for a PartitionLayout. Immutable once made.

    Spectra are stored as separate real and imaginary runs, which a compiler turns into vector
    code without help. */
class PartitionedKernel {
public:
    // Setup (may allocate, not during process)
    /** taps: at most layout.maxTaps() samples at the engine's sample rate; finite. */
    PartitionedKernel(const PartitionLayout& layout, std::span<const float> taps);

    // Any thread
    /** The first layout.headTaps taps, zero-padded. */
    [[nodiscard]] std::span<const float> head() const noexcept { return headTaps; }
    /** Partitions of the stage that hold taps; the rest of the layout's are silent. */
    [[nodiscard]] std::size_t numPartitions(std::size_t stage) const noexcept
    {
        return stages[stage].numPartitions;
    }
    /** Real parts of one partition: stage blockFrames + 1 bins. */
    [[nodiscard]] std::span<const float> real(std::size_t stage,
                                              std::size_t partition) const noexcept;
    [[nodiscard]] std::span<const float> imag(std::size_t stage,
                                              std::size_t partition) const noexcept;

private:
    struct Stage {
        std::size_t numBins = 0;
        std::size_t numPartitions = 0;
        std::vector<float> realParts;
        std::vector<float> imagParts;
    };

    std::vector<float> headTaps;
    std::vector<Stage> stages;
};

} // namespace saddletone::audition
