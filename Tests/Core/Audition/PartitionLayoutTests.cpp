#include "Core/Audition/PartitionLayout.h"

#include <catch2/catch.hpp>

#include <vector>

using saddletone::audition::PartitionLayout;
using saddletone::audition::PartitionStage;

namespace {

std::vector<std::size_t> manyLengths()
{
    std::vector<std::size_t> lengths {0,     1,     63,     64,     65,     511,  512,
                                      513,   4095,  4096,   4097,   8191,   8192, 8193,
                                      32640, 65281, 130560, 480000, 4000000};
    for (std::size_t length = 1; length < 200000; length = length * 9 / 8 + 1)
        lengths.push_back(length);
    return lengths;
}

} // namespace

TEST_CASE("A layout covers the response it was made for, stage after stage without a gap",
          "[core][audition]")
{
    for (const std::size_t length : manyLengths()) {
        CAPTURE(length);
        const PartitionLayout layout = PartitionLayout::forTaps(length);
        CHECK(layout.maxTaps() >= length);
        std::size_t covered = layout.headTaps;
        for (const PartitionStage& stage : layout.stages) {
            CHECK(stage.firstTap == covered);
            CHECK(stage.numPartitions > 0);
            covered += stage.numPartitions * stage.blockFrames;
        }
        CHECK(layout.maxTaps() == covered);
        // No more than one block in vain.
        if (!layout.stages.empty())
            CHECK(covered - length < layout.stages.back().blockFrames);
    }
}

// Gardner, JAES 43(3):127-136, 1995: a block's result is complete only after the block has come
// in, so the stage may not answer for taps nearer than one block.
TEST_CASE("No stage of a layout answers for taps nearer than its own block", "[core][audition]")
{
    for (const std::size_t length : manyLengths()) {
        CAPTURE(length);
        const PartitionLayout layout = PartitionLayout::forTaps(length);
        for (const PartitionStage& stage : layout.stages) {
            CHECK(stage.firstTap >= stage.blockFrames);
            CHECK(stage.firstTap % stage.blockFrames == 0);
            CHECK(stage.blockFrames % layout.headTaps == 0);
        }
    }
}

TEST_CASE("A response that fits the direct sum needs no stage", "[core][audition]")
{
    CHECK(PartitionLayout::forTaps(0).stages.empty());
    CHECK(PartitionLayout::forTaps(64).stages.empty());
    CHECK(PartitionLayout::forTaps(64).maxTaps() == 64);
    CHECK(PartitionLayout::forTaps(65).stages.size() == 1);
}
