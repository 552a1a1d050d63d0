#include "Core/Audition/PartitionLayout.h"

#include <algorithm>

namespace saddletone::audition {

PartitionLayout PartitionLayout::forTaps(std::size_t maxTaps)
{
    // Eight-fold steps keep the number of products a frame near its minimum; the largest block is
    // bounded because its transforms fall due at once.
    constexpr std::size_t growth = 8;
    constexpr std::size_t largestBlock = 4096;
    PartitionLayout layout;
    std::size_t covered = layout.headTaps;
    std::size_t block = layout.headTaps;
    while (covered < maxTaps) {
        const std::size_t stageEnd =
            block < largestBlock ? std::min(block * growth, maxTaps) : maxTaps;
        const std::size_t numPartitions = (stageEnd - covered + block - 1) / block;
        layout.stages.push_back({block, covered, numPartitions});
        covered += numPartitions * block;
        block = std::min(block * growth, largestBlock);
    }
    return layout;
}

std::size_t PartitionLayout::maxTaps() const noexcept
{
    return stages.empty()
               ? headTaps
               : stages.back().firstTap + stages.back().numPartitions * stages.back().blockFrames;
}

} // namespace saddletone::audition
