#include "Core/Audition/PartitionLayout.h"

#include "Core/Dsp/SlicedTransform.h"

#include <algorithm>
#include <array>
#include <bit>
#include <utility>

namespace saddletone::audition {

namespace {

using dsp::SlicedTransform;

/** What a stage takes besides its arithmetic, each time the audio thread comes by. */
constexpr double workPerVisit = 15.0;

/** Work of the transforms of one block, forward and inverse. */
double transformWork(std::size_t blockFrames) noexcept
{
    // As SlicedTransform::totalWork(), without making one: three doublings are a pass of radix 8.
    const auto doublings =
        static_cast<std::size_t>(std::countr_zero(blockFrames / PartitionLayout::headTaps));
    constexpr std::array<double, 3> workOfRest {0.0, 32.0, 40.0};
    const std::size_t wholePasses = doublings / 3;
    const double passes = 50.0 * static_cast<double>(wholePasses) + workOfRest[doublings % 3];
    const auto frames = static_cast<double>(blockFrames);
    return 2.0
           * (SlicedTransform::workPerTile * frames / static_cast<double>(dsp::tileBins)
              + passes * frames / 512.0);
}

double stageWork(const PartitionStage& stage) noexcept
{
    const auto frames = static_cast<double>(stage.blockFrames);
    const double products = static_cast<double>(stage.numPartitions)
                            * SlicedTransform::workPerProduct * frames
                            / static_cast<double>(dsp::tileBins);
    const double visits =
        workPerVisit
        * (stage.isSpread() ? frames / static_cast<double>(PartitionLayout::headTaps) : 1.0);
    return (transformWork(stage.blockFrames) + products + visits) / frames;
}

std::size_t firstTapOf(std::size_t block, std::size_t blockFrames) noexcept
{
    return block <= PartitionLayout::headTaps || blockFrames % block == 0 ? block : 2 * block;
}

/** The layout whose stages have the blocks whose bits are set: bit n for headTaps 2^(n + 1). */
PartitionLayout layoutOf(std::size_t maxTaps, std::size_t blockFrames, unsigned blocks)
{
    PartitionLayout layout;
    std::size_t block = PartitionLayout::headTaps;
    std::size_t firstTap = block;
    for (std::size_t next = 2 * block; next <= PartitionLayout::longestBlock; next *= 2) {
        const bool isUsed = (blocks & 1U) != 0;
        blocks >>= 1U;
        const std::size_t nextFirstTap = firstTapOf(next, blockFrames);
        if (!isUsed || nextFirstTap <= firstTap)
            continue;
        if (nextFirstTap >= maxTaps)
            break;
        layout.stages.push_back({block, firstTap, (nextFirstTap - firstTap) / block});
        block = next;
        firstTap = nextFirstTap;
    }
    if (maxTaps > firstTap)
        layout.stages.push_back({block, firstTap, (maxTaps - firstTap + block - 1) / block});
    return layout;
}

} // namespace

PartitionLayout PartitionLayout::forTaps(std::size_t maxTaps, std::size_t blockFrames)
{
    PartitionLayout best = layoutOf(maxTaps, blockFrames, 0);
    double least = best.computedWork();
    constexpr unsigned numChoices = 1U << std::bit_width(longestBlock / headTaps / 2);
    for (unsigned blocks = 1; blocks < numChoices; ++blocks) {
        PartitionLayout layout = layoutOf(maxTaps, blockFrames, blocks);
        if (const double work = layout.computedWork(); work < least) {
            least = work;
            best = std::move(layout);
        }
    }
    return best;
}

std::size_t PartitionLayout::maxTaps() const noexcept
{
    return stages.empty()
               ? headTaps
               : stages.back().firstTap + stages.back().numPartitions * stages.back().blockFrames;
}

double PartitionLayout::computedWork() const noexcept
{
    double work = 0.0;
    for (const PartitionStage& stage : stages)
        work += stageWork(stage);
    return work;
}

} // namespace saddletone::audition
