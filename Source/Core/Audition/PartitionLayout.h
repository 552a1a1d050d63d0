#pragma once

#include <cstddef>
#include <vector>

namespace saddletone::audition {

/** One uniformly partitioned stage of a convolution: numPartitions partitions of blockFrames
    taps each, the first beginning at tap firstTap, which is one or two times blockFrames.

    With one, what the stage adds to a block is due at the instant the block before it is complete.
    With two there is a whole block of time for it, over which the work is spread. */
struct PartitionStage {
    std::size_t blockFrames = 0;
    std::size_t firstTap = 0;
    std::size_t numPartitions = 0;

    [[nodiscard]] bool isSpread() const noexcept { return firstTap > blockFrames; }

    bool operator==(const PartitionStage&) const = default;
};

/** How a response of up to maxTaps taps is cut for zero-latency convolution (after Gardner, JAES
    43(3):127-136, 1995): the first headTaps taps run as a direct sum, stages of rising block length
    follow. */
struct PartitionLayout {
    /** The direct sum's length, and the grid on which the audio thread does the stages' work. */
    static constexpr std::size_t headTaps = 64;
    static constexpr std::size_t longestBlock = 16384;

    std::vector<PartitionStage> stages;

    /** The layout of least computedWork() for responses of up to maxTaps taps, when most blocks that
        are processed are of blockFrames frames. Stages whose block divides blockFrames do their work
        at once, as every block processed has the same share of it; the others spread it. */
    [[nodiscard]] static PartitionLayout forTaps(std::size_t maxTaps,
                                                 std::size_t blockFrames = 512);

    /** The longest response the layout holds. */
    [[nodiscard]] std::size_t maxTaps() const noexcept;

    /** About how long a frame of one channel takes, in the units of dsp::SlicedTransform. */
    [[nodiscard]] double computedWork() const noexcept;

    bool operator==(const PartitionLayout&) const = default;
};

} // namespace saddletone::audition
