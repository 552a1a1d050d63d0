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
    const std::size_t blockFrames = GENERATE(1U, 64U, 100U, 441U, 480U, 512U, 8192U);
    for (const std::size_t length : manyLengths()) {
        CAPTURE(length, blockFrames);
        const PartitionLayout layout = PartitionLayout::forTaps(length, blockFrames);
        CHECK(layout.maxTaps() >= length);
        std::size_t covered = PartitionLayout::headTaps;
        std::size_t block = 0;
        for (const PartitionStage& stage : layout.stages) {
            CHECK(stage.firstTap == covered);
            CHECK(stage.numPartitions > 0);
            CHECK(stage.blockFrames > block);
            block = stage.blockFrames;
            covered += stage.numPartitions * stage.blockFrames;
        }
        CHECK(layout.maxTaps() == covered);
        // No more than one block in vain.
        if (!layout.stages.empty())
            CHECK(covered - length < layout.stages.back().blockFrames);
    }
}

// Gardner, JAES 43(3):127-136, 1995: a block's result is complete only after the block has come
// in, so the stage may not answer for taps nearer than one block. With two the work can be spread.
TEST_CASE("Stages that would burden single blocks have a block of time for their work",
          "[core][audition]")
{
    const std::size_t blockFrames = GENERATE(1U, 64U, 100U, 441U, 480U, 512U, 8192U);
    for (const std::size_t length : manyLengths()) {
        CAPTURE(length, blockFrames);
        const PartitionLayout layout = PartitionLayout::forTaps(length, blockFrames);
        for (const PartitionStage& stage : layout.stages) {
            const bool isEven = stage.blockFrames == PartitionLayout::headTaps
                                || blockFrames % stage.blockFrames == 0;
            CHECK(stage.firstTap == (isEven ? 1 : 2) * stage.blockFrames);
            CHECK(stage.isSpread() == !isEven);
            CHECK(stage.blockFrames % PartitionLayout::headTaps == 0);
        }
    }
}

TEST_CASE("The layout chosen costs no more than plain ones", "[core][audition]")
{
    const std::size_t blockFrames = GENERATE(64U, 128U, 512U);
    const std::size_t length = GENERATE(4096U, 16384U, 65536U);
    CAPTURE(blockFrames, length);
    const double chosen = PartitionLayout::forTaps(length, blockFrames).computedWork();
    PartitionLayout uniform;
    uniform.stages = {{64, 64, length / 64 - 1}};
    CHECK(chosen < uniform.computedWork());
    PartitionLayout twoStages;
    twoStages.stages = {{64, 64, 31}, {1024, 2048, (length - 2048) / 1024}};
    CHECK(chosen <= twoStages.computedWork());
    // Longer responses never cost less, and far less than in proportion.
    CHECK(PartitionLayout::forTaps(2 * length, blockFrames).computedWork() > chosen);
    CHECK(PartitionLayout::forTaps(16 * length, blockFrames).computedWork() < 4.0 * chosen);
}

TEST_CASE("Where blocks are long the layout needs less work", "[core][audition]")
{
    for (const std::size_t length : {4096U, 16384U, 65536U})
        CHECK(PartitionLayout::forTaps(length, 512).computedWork()
              < PartitionLayout::forTaps(length, 64).computedWork());
}

TEST_CASE("A response that fits the direct sum needs no stage", "[core][audition]")
{
    CHECK(PartitionLayout::forTaps(0).stages.empty());
    CHECK(PartitionLayout::forTaps(64).stages.empty());
    CHECK(PartitionLayout::forTaps(64).maxTaps() == 64);
    CHECK(PartitionLayout::forTaps(65).stages.size() == 1);
}
