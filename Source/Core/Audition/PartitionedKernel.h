#pragma once

#include "Core/Audition/PartitionLayout.h"
#include "Core/Dsp/AlignedFloats.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::audition {

/** One impulse response, cut and transformed for a PartitionLayout. Immutable once made.

    A tile of the spectra of a stage's partitions lies in one run, partition after partition, which is
    how the products are added up. See dsp::SlicedTransform for tiles. */
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
    /** One tile of each partition, over blockFrames: inverse transforms need no scaling. */
    [[nodiscard]] std::span<const float> tiles(std::size_t stage, std::size_t tile) const noexcept;

private:
    struct Stage {
        std::size_t numPartitions = 0;
        dsp::AlignedFloats tiles;
    };

    std::vector<float> headTaps;
    std::vector<Stage> stages;
};

} // namespace saddletone::audition
