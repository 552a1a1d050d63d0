#pragma once

#include "Core/Audition/PartitionLayout.h"
#include "Core/Dsp/SlicedTransform.h"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace saddletone::audition {

/** When each step of a stage's work is done, counted in visits: the audio thread comes by once for
    every PartitionLayout::headTaps frames.

    For every block of input a stage has two jobs. The forward job transforms the block of every input
    channel, once for all candidates. The inverse job, one for every voice that plays, adds up the
    products for each ear and transforms them back. A step is done for all channels or ears. */
class StagePlan {
public:
    // Setup (may allocate, not during process)
    explicit StagePlan(const PartitionStage& partitionStage);

    // Any thread
    /** First and one past the last step of a job. */
    struct Steps {
        std::size_t begin = 0;
        std::size_t end = 0;
    };

    [[nodiscard]] const PartitionStage& shape() const noexcept { return stage; }
    [[nodiscard]] const dsp::SlicedTransform& transform() const noexcept { return blockTransform; }
    [[nodiscard]] std::size_t visitsPerBlock() const noexcept { return visits; }
    /** Steps of either job. */
    [[nodiscard]] std::size_t numSteps() const noexcept
    {
        return blockTransform.forwardSteps().size();
    }
    /** Blocks between the newest that the inverse job of a block of output takes and that block. */
    [[nodiscard]] std::size_t blocksBehind() const noexcept { return stage.isSpread() ? 2 : 1; }
    /** Spectra to be kept of a channel. */
    [[nodiscard]] std::size_t numSpectra() const noexcept
    {
        return stage.numPartitions + blocksBehind() - 1;
    }

    /** What is due at a visit, of the forward job of the block that ended before phase 0, and of the
        inverse job that begins with it. */
    [[nodiscard]] Steps forwardDue(std::size_t phase) const noexcept { return forward[phase]; }
    [[nodiscard]] Steps inverseDue(std::size_t phase) const noexcept { return inverse[phase]; }

    /** Visit, counted from the beginning of the job, at which the inverse job begins. */
    [[nodiscard]] std::size_t firstInversePhase() const noexcept;
    /** Steps of the inverse job done by the end of a visit; past the last phase all of them. */
    [[nodiscard]] std::size_t inverseStepsBy(std::size_t phase) const noexcept;

private:
    PartitionStage stage;
    dsp::SlicedTransform blockTransform;
    std::size_t visits;
    std::vector<Steps> forward; // one a phase
    std::vector<Steps> inverse;
};

} // namespace saddletone::audition
