#include "Core/Audition/StagePlan.h"

#include <algorithm>
#include <cassert>

namespace saddletone::audition {

StagePlan::StagePlan(const PartitionStage& partitionStage)
    : stage(partitionStage),
      blockTransform(stage.blockFrames),
      visits(stage.blockFrames / PartitionLayout::headTaps),
      forward(visits),
      inverse(visits)
{
    assert(stage.firstTap == blocksBehind() * stage.blockFrames);
    if (!stage.isSpread()) {
        forward.front() = inverse.front() = {0, numSteps()};
        std::fill(forward.begin() + 1, forward.end(), Steps {numSteps(), numSteps()});
        inverse = forward;
        return;
    }

    // A step belongs to the visit in whose share of the work its middle lies.
    const std::uint64_t productsOfTile =
        std::uint64_t {stage.numPartitions} * dsp::SlicedTransform::workPerProduct;
    const std::uint64_t total =
        2 * std::uint64_t {blockTransform.totalWork()} + blockTransform.numTiles() * productsOfTile;
    std::uint64_t done = 0;
    const auto phaseOf = [&](std::uint64_t work) {
        const std::uint64_t middle = 2 * done + work;
        done += work;
        return static_cast<std::size_t>(
            std::min<std::uint64_t>(visits - 1, middle * visits / (2 * total)));
    };
    const auto countUp = [&](std::vector<Steps>& job, const auto& workOf) {
        std::size_t phase = 0;
        for (std::size_t step = 0; step < numSteps(); ++step) {
            const std::size_t due = phaseOf(workOf(step));
            for (; phase < due; ++phase) {
                job[phase].end = step;
                job[phase + 1].begin = step;
            }
            job[phase].end = step + 1;
        }
        for (; phase + 1 < visits; ++phase)
            job[phase + 1] = {numSteps(), numSteps()};
    };
    countUp(forward, [&](std::size_t step) {
        return std::uint64_t {blockTransform.forwardSteps()[step].work};
    });
    countUp(inverse, [&](std::size_t step) {
        const dsp::SlicedTransform::Step& of = blockTransform.inverseSteps()[step];
        return of.work + (of.radix == 0 ? productsOfTile : 0);
    });
}

std::size_t StagePlan::firstInversePhase() const noexcept
{
    const auto place = std::ranges::find_if(inverse, [](Steps due) { return due.end > due.begin; });
    return static_cast<std::size_t>(place - inverse.begin());
}

std::size_t StagePlan::inverseStepsBy(std::size_t phase) const noexcept
{
    return inverse[std::min(phase, visits - 1)].end;
}

} // namespace saddletone::audition
