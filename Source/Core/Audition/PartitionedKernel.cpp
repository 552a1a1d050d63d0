#include "Core/Audition/PartitionedKernel.h"

#include "Core/Dsp/SlicedTransform.h"

#include <algorithm>
#include <cassert>

namespace saddletone::audition {

PartitionedKernel::PartitionedKernel(const PartitionLayout& layout, std::span<const float> taps)
    : headTaps(PartitionLayout::headTaps, 0.0F)
{
    assert(taps.size() <= layout.maxTaps());
    std::copy_n(taps.begin(), std::min(taps.size(), headTaps.size()), headTaps.begin());

    for (const PartitionStage& stage : layout.stages) {
        const std::size_t block = stage.blockFrames;
        const std::size_t numTaps = taps.size() > stage.firstTap ? taps.size() - stage.firstTap : 0;
        Stage transformed;
        transformed.numPartitions = std::min(stage.numPartitions, (numTaps + block - 1) / block);
        if (transformed.numPartitions > 0) {
            const dsp::SlicedTransform transform(block);
            const std::size_t tileDistance = transformed.numPartitions * dsp::tileFloats;
            transformed.tiles.resize(transform.numTiles() * tileDistance);
            const std::vector<float> silence(block);
            std::vector<float> padded(block);
            // A power of two: exact.
            const float scale = 1.0F / static_cast<float>(block);
            for (std::size_t partition = 0; partition < transformed.numPartitions; ++partition) {
                const std::size_t begin = stage.firstTap + partition * block;
                const std::size_t count = std::min(block, taps.size() - begin);
                std::ranges::fill(padded, 0.0F);
                std::ranges::transform(taps.subspan(begin, count), padded.begin(),
                                       [scale](float tap) { return scale * tap; });
                transform.forward(padded, silence,
                                  std::span(transformed.tiles).subspan(partition * dsp::tileFloats),
                                  tileDistance);
            }
        }
        stages.push_back(std::move(transformed));
    }
}

std::span<const float> PartitionedKernel::tiles(std::size_t stage, std::size_t tile) const noexcept
{
    const Stage& source = stages[stage];
    const std::size_t count = source.numPartitions * dsp::tileFloats;
    return std::span(source.tiles).subspan(tile * count, count);
}

} // namespace saddletone::audition
