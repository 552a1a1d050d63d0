#pragma once

#include <cstddef>
#include <vector>

namespace saddletone::audition {

/** One uniformly partitioned stage of a convolution: numPartitions partitions of blockFrames
    taps each, the first beginning at tap firstTap, which is a multiple of blockFrames. */
struct PartitionStage {
    std::size_t blockFrames = 0;
    std::size_t firstTap = 0;
    std::size_t numPartitions = 0;

    bool operator==(const PartitionStage&) const = default;
};

/** How a response of up to maxTaps taps is cut for zero-latency convolution (after Gardner, JAES
    43(3):127-136, 1995): the first headTaps taps run as a direct sum, each following stage has a
    block no longer than the taps before it, so its result is ready exactly when it is needed. */
struct PartitionLayout {
    std::size_t headTaps = 64;
    std::vector<PartitionStage> stages;

    /** The layout for responses of up to maxTaps taps. */
    [[nodiscard]] static PartitionLayout forTaps(std::size_t maxTaps);

    /** The longest response the layout holds. */
    [[nodiscard]] std::size_t maxTaps() const noexcept;

    bool operator==(const PartitionLayout&) const = default;
};

} // namespace saddletone::audition
